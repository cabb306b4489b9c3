"""A hundred breaks of stream and power in an update: it ends, and nothing is mixed."""

from random import Random

import pytest

from coordinator.codes.update_phase import UpdatePhase as P
from protocol import messages
from protocol.constants import MAX_IMAGE_FRAME_BYTES
from tests.coordinator.core.kit import S
from tests.coordinator.core.updating.scripted import (
    BLOCK,
    WAY_US,
    Bench,
    Firmware,
    image_frames,
    signed,
)

BREAKS = 100
IMAGE_BYTES = 3_000_000


@pytest.mark.parametrize("seed", range(2))
def test_a_hundred_breaks_cost_time_and_nothing_else(seed: int) -> None:
    random, bench = Random(seed), Bench()
    bench.joint.capacity = IMAGE_BYTES
    bench.break_stream()
    bench.run_for(1 * S)
    file = signed(random.randbytes(IMAGE_BYTES))
    bench.begin(file)
    breaks = 0
    while breaks < BREAKS and not bench.update.phase.is_over:
        # Between two of them at least a block gets through, or none would ever.
        floor = bench.update.sent_bytes if bench.update.phase is P.SENDING else 0
        while not _has_come(bench, floor):
            bench.run_for(WAY_US)
        bench.run_for(random.randrange(8 * WAY_US))
        if not bench.update.phase.may_be_cancelled:
            break
        if random.random() < 0.3:
            bench.cut_power(random.randrange(S))
        else:
            bench.break_stream()
        breaks += 1
    update = bench.over()
    assert update.phase is P.DONE, update
    assert bench.joint.runs == Firmware("1.5.0", file.digest)
    assert breaks == BREAKS
    _nothing_is_left_out_or_mixed(bench, file.image)


def _has_come(bench: Bench, floor: int) -> bool:
    update = bench.update
    return update.sent_bytes > floor + BLOCK // 2 or not update.phase.may_be_cancelled


def _nothing_is_left_out_or_mixed(bench: Bench, image: bytes) -> None:
    """Every frame holds what stands there in the image, and none leaves a gap behind those before
    it in its stream, which begins where the joint said.
    """
    for frame in image_frames(bench):
        assert 1 <= len(frame.data) <= MAX_IMAGE_FRAME_BYTES
        assert frame.data == image[frame.offset : frame.offset + len(frame.data)]
    contents = [one.content for _, one in bench.sent]
    offers = [one for one in contents if isinstance(one, messages.Update)]
    assert len({(one.header, one.signature) for one in offers}) == 1
    assert sum(isinstance(one, messages.Install) for one in contents) == 1


@pytest.mark.parametrize("seed", range(6))
def test_whatever_breaks_when_the_end_is_told_as_it_is(seed: int) -> None:
    """Breaks strike also while it installs, restarts and is on trial; some firmware is dead."""
    random, bench = Random(100 + seed), Bench()
    if seed % 3 == 0:
        bench.joint.dead_versions = frozenset({"1.5.0"})
    bench.begin(signed(random.randbytes(20_000)))
    while not bench.update.phase.is_over:
        bench.run_for(random.randrange(1, 2 * S))
        if random.random() < 0.25:
            bench.break_stream()
        elif random.random() < 0.05 and bench.joint.is_there:
            bench.cut_power(random.randrange(1, 3 * S))
    update = bench.update
    bench.until(lambda: not bench.joint.on_trial)
    runs = bench.joint.runs.version
    if update.phase is P.DONE:
        assert (runs, bench.joint.on_trial) == ("1.5.0", False)
    elif update.phase is P.WENT_BACK:
        assert runs == "1.4.0"
    else:
        assert update.phase is P.FAILED
        assert update.code == "install-unknown"
        assert "update it again" in update.message
