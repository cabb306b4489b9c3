"""What the process does in which a program is rehearsed for whoever asks over the API."""

import contextlib
import os
from dataclasses import dataclass
from multiprocessing.connection import Connection

from coordinator.config.arm import Arm
from coordinator.motion.peaks import JointPeaks, joint_peaks
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_of
from coordinator.programs import ProgramError, Switches
from coordinator.rehearsal.meeting import RehearsalError
from coordinator.rehearsal.rehearse import play_once
from coordinator.rehearsal.software_joints import joint_settings
from coordinator.workers.planner import NICENESS
from simulator.network import PROFILES


@dataclass(frozen=True, slots=True)
class Planned:
    """What the plan of a program says."""

    peaks: tuple[JointPeaks, ...]
    duration_us: int
    """Without pauses."""


def rehearse(pipe: Connection) -> None:
    """Take an arm, a program's name and text, a network, a number of times, the operator's
    switches and fitted resistances of hops; send what comes.

    That is `Planned` and each `Played`, or a list of mistakes, or a sentence in place of
    what else there would be.
    """
    os.nice(NICENESS)
    # Whoever wants no more results closes the pipe.
    with contextlib.suppress(BrokenPipeError, EOFError):
        _rehearse(pipe, *pipe.recv())


def _rehearse(
    pipe: Connection,
    arm: Arm,
    name: str,
    text: str,
    network: str,
    repetitions: int,
    switches: Switches,
    fitted_ohm: dict[str, float],
) -> None:
    try:
        parts = plan_text(text, arm, pose_of(arm, arm.poses["park"]), switches=switches)
    except ProgramError as error:
        pipe.send(list(error.problems))
        return
    if not parts:
        pipe.send(f"{name} moves nothing")
        return
    duration_us = sum(move.duration_us for part in parts for move in part.moves())
    pipe.send(Planned(joint_peaks(parts, arm), duration_us))
    for seed in range(1, repetitions + 1):
        try:
            joints = joint_settings(arm, seed, fitted_ohm=fitted_ohm)
            pipe.send(play_once(arm, text, joints, PROFILES[network], seed, switches))
        except RehearsalError as error:
            pipe.send(f"this arm cannot be rehearsed: {error}")
            return
