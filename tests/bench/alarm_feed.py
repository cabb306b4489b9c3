"""The alarm layer of the coordinator alone, fed with what joints say (`alarm_says`).

All that judges is the coordinator's own: its links with their clocks and figures, its watch, its
supply chain and its keeper of warnings, asked in the order in which the whole machine asks them.
What is left out is what moves the arm: drives, runs, homings, streams.
"""

import math
from collections.abc import Callable, Sequence

from coordinator.config.arm import Arm
from coordinator.core import events as ev
from coordinator.core.link.link import JointLink
from coordinator.core.outbox import Outbox
from coordinator.core.watch import Watch
from coordinator.timing.exchange import Exchange
from protocol.constants import US
from protocol.states import JointState
from protocol.status import Status
from simulator.physics.clock import JointOscillator
from simulator.physics.heat import OPEN_CODE
from tests.bench.alarm_faults import FLAKY_S, LOW_V, WILD_S, hover_c, warm_c
from tests.bench.alarm_says import LOST, Said, Speaker, While

AFTER_BOOT_US = 1 * US
"""From a joint that is there again to the first word of its new session."""


class Fed:
    """The alarm layer of one arm. `notes` is what people were told, oldest first."""

    def __init__(self, arm: Arm, clocks: Sequence[JointOscillator]) -> None:
        self.notes: list[ev.Note] = []
        self.links = [JointLink(joint, k, arm.idle_share) for k, joint in enumerate(arm.joints)]
        self._outbox = Outbox()
        self._watch = Watch(arm, self._outbox)
        self._clocks = clocks
        self._sequence = 0
        self._last: list[tuple[int, bool, Status] | None] = [None] * len(self.links)
        """By joint: number of the reading, whether it moves, and the status that says so."""

    def take(self, said: Sequence[Said], speakers: Sequence[Speaker]) -> None:
        """A stretch of what all joints say, base to tool."""
        moving = [one.moves(what.there_us) for one, what in zip(speakers, said, strict=True)]
        reading = [what.read_us.searchsorted(what.there_us, side="right") - 1 for what in said]
        base = self._sequence
        begin_us = min(int(what.sent_us[0]) for what in said)
        back_us = [
            [at_us + AFTER_BOOT_US for at_us in sorted(one.upset.back_us) if at_us >= begin_us]
            for one in speakers
        ]
        for at_us, is_answer, joint, k in _in_order(said):
            link = self.links[joint]
            if back_us[joint] and at_us >= back_us[joint][0]:
                back_us[joint].pop(0)
                link.begin_session(at_us)
            if not is_answer:
                if joint == 0:
                    self._watch.step(at_us)
                self._watch.look_for(link, at_us)
                link.quality.sent(base + k, at_us)
            else:
                row = int(reading[joint][k])
                if row >= 0:
                    status = self._status(joint, said[joint], row, bool(moving[joint][k]), base)
                    self._answer(link, base + k, said[joint], k, status)
            self._tell()
        self._sequence = base + max(len(what.sent_us) for what in said)

    def _answer(self, link: JointLink, number: int, said: Said, k: int, status: Status) -> None:
        now = int(said.answered_us[k])
        if link.quality.answered(number, now) is None:
            return  # sent in an earlier session
        joint_us = self._clocks[link.index].joint_us(float(said.there_us[k]))
        exchange = Exchange(int(said.sent_us[k]), math.ceil(joint_us), math.floor(joint_us), now)
        link.sync.observe(exchange, now)
        if link.replied(status, now):
            self._watch.observe(link, now)

    def _status(self, joint: int, said: Said, row: int, moves: bool, base: int) -> Status:
        last = self._last[joint]
        if last is not None and last[:2] == (base + row, moves):
            return last[2]
        status = Status(
            boot=1,
            sequence=base + row,
            state=JointState.MOVING if moves else JointState.READY,
            homed=True,
            energised=True,
            temperature_centi_c=int(said.centi_c[row]),
            supply_mv=int(said.supply_mv[row]),
            fan_percent=100 if said.fan[row] else 0,
        )
        self._last[joint] = base + row, moves, status
        return status

    def _tell(self) -> None:
        if self._outbox.actions:
            self.notes += [one for one in self._outbox.take() if isinstance(one, ev.Note)]


def _in_order(said: Sequence[Said]) -> list[tuple[int, bool, int, int]]:
    """What is sent and what is answered: the instant, whether an answer, the joint, which one."""
    happened = list[tuple[int, bool, int, int]]()
    for joint, what in enumerate(said):
        happened += [(at_us, False, joint, k) for k, at_us in enumerate(what.sent_us.tolist())]
        answered = enumerate(what.answered_us.tolist())
        happened += [(at_us, True, joint, k) for k, at_us in answered if at_us != LOST]
    return sorted(happened)


# ---- the faults of `alarm_faults`, as what joints say --------------------------------------------

Befall = Callable[[Speaker, int, int], None]


def _silent(speaker: Speaker, at_us: int, for_us: int) -> None:
    speaker.upset.lost.append(While(at_us, at_us + for_us))


def _flaky(speaker: Speaker, at_us: int, for_us: int) -> None:
    every_s, lost_s = FLAKY_S
    for from_us in range(at_us, at_us + for_us, every_s * US):
        speaker.upset.lost.append(While(from_us, from_us + lost_s * US))


def _restarts(speaker: Speaker, at_us: int, for_us: int) -> None:
    speaker.upset.lost.append(While(at_us, at_us + for_us + AFTER_BOOT_US))
    speaker.upset.back_us.append(at_us + for_us)


def _volts(volts: float) -> Befall:
    def befall(speaker: Speaker, at_us: int, for_us: int) -> None:
        speaker.upset.volts.append(While(at_us, at_us + for_us, volts))

    return befall


def _sensor_off(speaker: Speaker, at_us: int, for_us: int) -> None:
    speaker.upset.codes.append(While(at_us, at_us + for_us, OPEN_CODE))


def _held(above_c: Callable[[float], float]) -> Befall:
    def befall(speaker: Speaker, at_us: int, for_us: int) -> None:
        speaker.upset.warms.append((While(at_us, at_us + for_us), above_c))

    return befall


def _jumps(speaker: Speaker, at_us: int, _for_us: int) -> None:
    speaker.clock.step(float(at_us), 5e5)


def _wild(speaker: Speaker, at_us: int, for_us: int) -> None:
    for from_us in range(at_us, at_us + for_us, WILD_S * US):
        _jumps(speaker, from_us, 0)


BEFALL: dict[str, Befall] = {
    "silent for 20 s": _silent,
    "silent for 1.5 s": _silent,
    "2 s of 10 lost": _flaky,
    "supply sags to 19 V": _volts(LOW_V),
    "no motor supply": _volts(0.0),
    "restarts in 10 s": _restarts,
    "sensor unplugged": _sensor_off,
    "warm": _held(warm_c),
    "hovers about its warning": _held(hover_c),
    "clock jumps once": _jumps,
    "clock jumps all the time": _wild,
}
"""By the fault's name."""
