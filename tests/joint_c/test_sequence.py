"""What the joint in C does with time and with its touch control, no other joint beside it."""

import json
import random
import subprocess
from pathlib import Path
from typing import Any

import pytest

from protocol.drive import Drive, encode_drive
from protocol.status import decode_status
from tests.joint_c.pair import Pair, proven
from tests.joint_c.treatment import Treatment


def played(program: Path, lines: list[str]) -> list[dict[str, Any]]:
    """What the joint in C says after each line."""
    done = subprocess.run(
        [str(program)],
        input="\n".join(lines) + "\n",
        capture_output=True,
        text=True,
        encoding="ascii",
        check=True,
    )
    return [json.loads(line) for line in done.stdout.splitlines()]


def told(answers: list[dict[str, Any]]) -> list[Any]:
    """All that left the joint, in its order, and how it is in the end."""
    out: list[Any] = [
        [part for answer in answers for part in answer[kind]]
        for kind in ("sent", "closed", "truths")
    ]
    return [
        *out,
        [answer["reply"] for answer in answers if answer["reply"]],
        answers[-1]["state"],
        answers[-1]["position"],
    ]


@pytest.mark.parametrize("seed", range(20))
def test_a_caller_that_comes_late_changes_nothing(joint_build: Path, seed: int) -> None:
    treatment = Treatment(joint_build / "sequence", seed)
    treatment.play(4)
    lines = treatment.pair.log
    draw, often, before = random.Random(seed), [lines[0]], int(lines[0].split()[1])
    for line in lines[1:]:
        now = int(line.split()[1])
        often += [f"poll {at}" for at in sorted(draw.randint(before, now) for _ in range(4))]
        often.append(line)
        before = now
    seldom = [line for line in lines[:-1] if not line.startswith("poll")] + [lines[-1]]
    one, other = (told(played(joint_build / "sequence", which)) for which in (seldom, often))
    assert one == other


@pytest.fixture
def pair(joint_build: Path) -> Pair:
    return proven(joint_build / "sequence")


def counters(pair: Pair, lines: list[str]) -> tuple[int, int, int]:
    """Detents, short and long presses that a status tells after the lines."""
    for line in lines:
        pair.now = int(line.split()[1])
        pair.tell(line)
    keys = pair.streams[1]
    assert keys is not None
    pair.now += 1
    answer = pair.tell(
        f"datagram {pair.now} {encode_drive(Drive(7, 1), 1, keys.drive).hex()} {pair.now}"
    )
    status = decode_status(bytes.fromhex(answer["reply"]), keys.status)[1]
    pair.end()
    return status.touch_turn, status.touch_presses, status.touch_long_presses


def test_a_press_counts_as_a_short_one_when_it_ends(pair: Pair) -> None:
    assert counters(pair, ["press 2000000 1", "press 2799999 0", "press 3000000 1"]) == (0, 1, 0)


def test_a_press_of_800_ms_is_a_long_one_at_once_and_no_short_one_when_it_ends(pair: Pair) -> None:
    assert counters(pair, ["press 2000000 1", "poll 2800000"]) == (0, 0, 1)


def test_a_long_press_counts_once_however_late_anybody_looks(pair: Pair) -> None:
    assert counters(pair, ["press 2000000 1", "press 9000000 0"]) == (0, 0, 1)


def test_turns_add_up_and_wrap(pair: Pair) -> None:
    assert counters(pair, ["turn 2000000 32767", "turn 2000001 2", "turn 2000002 -1"]) == (
        -32768,
        0,
        0,
    )


@pytest.mark.parametrize(
    ("homings", "kept"),
    [(1, ["1 1"]), (2, ["1 1", "2 2"]), (3, ["2 2", "3 3"]), (5, ["4 4", "5 5"])],
)
def test_the_events_of_the_last_two_homings_are_kept_each_with_its_own_edges(
    joint_build: Path, homings: int, kept: list[str]
) -> None:
    program = str(joint_build / "homings")
    done = subprocess.run([program, str(homings)], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == kept
