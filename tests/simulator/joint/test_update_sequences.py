"""Whatever befalls an update: what runs is the old image or the new one, whole and rightly signed.

Random sequences of announcements, frames (good, damaged, of another image), installs, drives, power
cuts and memory that fails, against a model of a few lines.
"""

from collections import Counter
from typing import ClassVar

from hypothesis import given
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from protocol.constants import TRIAL_US
from protocol.drive import Drive, StopLevel
from protocol.image import ImageFrame
from protocol.messages import Install, Updating
from simulator.joint.images import BOARD, PAGE_BYTES
from simulator.joint.joint import Joint
from tests.simulator.joint.rig import COORDINATOR, IDENTITY, SESSION
from tests.simulator.joint.signing import (
    SECRET,
    STRANGER,
    announcing,
    data_of,
    frames_of,
    header_of,
    store,
)

IMAGES = (data_of(1, 9_000), data_of(2, 4_096), data_of(3, 1))
FOREIGN = data_of(4, 5_000)
UPDATES = (
    *(announcing(header_of(data, f"1.{k}")) for k, data in enumerate(IMAGES)),
    announcing(header_of(FOREIGN), STRANGER),
    announcing(header_of(FOREIGN, board="another"), SECRET),
    announcing(header_of(data_of(5, 30_000)), SECRET),
)
kinds = st.integers(0, len(IMAGES) - 1)


class Updates(RuleBasedStateMachine):
    """One joint and a coordinator that does as it likes."""

    seen: ClassVar[Counter[str]] = Counter()
    """What random sequences have met, for who wants to know."""

    def __init__(self) -> None:
        super().__init__()
        self.store = store()
        self.now = 0.0
        self.sequence = 0
        self.confirmed: bytes | None = None
        """What the model says runs for good."""
        self.trial: bytes | None = None
        """What it says runs on trial; None without one."""
        self.noted: bytes | None = None
        self.kept = 0
        """What the joint said last that it keeps of what was announced last."""
        self.announced: bytes | None = None
        self.boot()

    def boot(self) -> None:
        self.store.restart()
        self.joint = Joint(IDENTITY, images=self.store)
        self.now, self.sequence, self.announced = 0.0, 0, None
        self.joint.begin_session(COORDINATOR, SESSION, self.now)
        if self.trial is not None:
            self.trial = None
            self.seen["went back"] += 1
        elif self.noted is not None:
            self.trial, self.noted = self.noted, None

    def restarted(self) -> None:
        """What a shell does after everything that happens."""
        if self.joint.restarts:
            self.boot()

    @rule(k=st.integers(0, len(UPDATES) - 1))
    def announce(self, k: int) -> None:
        refusal = self.joint.request(UPDATES[k], self.now)
        if refusal is not None:
            assert not self.joint.take_events()
            if refusal.code == "image-store":
                self.announced, self.kept = None, 0
                self.seen["not begun"] += 1
            return
        assert k < len(IMAGES), "only what is signed, for this board and small enough"
        [event] = self.joint.take_events()
        assert isinstance(event, Updating)
        if self.announced is IMAGES[k]:
            assert event.received >= self.kept
        self.announced, self.kept = IMAGES[k], event.received
        assert event.received % PAGE_BYTES == 0 or event.received == len(IMAGES[k])

    @rule()
    def bring_the_rest(self) -> None:
        for frame in frames_of(self.announced or IMAGES[0], self.kept):
            self.joint.image_frame(frame, self.now)

    @rule(k=kinds, begin=st.integers(0, 9_000), count=st.integers(1, 2_048), flip=st.integers(0, 9))
    def frame(self, k: int, begin: int, count: int, flip: int) -> None:
        data = bytearray(IMAGES[k][begin : begin + count] or b"?")
        if flip == 0:
            data[0] ^= 1
        self.joint.image_frame(ImageFrame(begin, bytes(data)), self.now)

    @rule(k=kinds, damaged=st.booleans())
    def update_wholly(self, k: int, damaged: bool) -> None:
        self.announce(k)
        if damaged:
            self.frame(k, self.kept, 2_048, flip=0)
        self.bring_the_rest()
        self.install()

    @rule()
    def install(self) -> None:
        refusal = self.joint.request(Install(), self.now)
        if refusal is None:
            assert not self.joint.energised
            self.noted = self.announced
            self.seen["installed"] += 1
        elif refusal.code == "image-wrong":
            self.announced, self.kept = None, 0
            self.seen["dropped"] += 1
        self.restarted()

    @rule(energise=st.booleans())
    def drive(self, energise: bool) -> None:
        self.sequence += 1
        stop = StopLevel.NONE if energise else StopLevel.RELEASE
        drive = Drive(SESSION, self.sequence, energise=energise, stop=stop)
        if self.joint.drive(drive, self.now) is not None and self.trial is not None:
            self.confirmed, self.trial = self.trial, None
            self.seen["confirmed"] += 1
        self.joint.take_events()
        self.restarted()

    @rule()
    def cut_power(self) -> None:
        self.boot()

    @rule(seconds=st.sampled_from((1, 119, 120, 500)))
    def wait(self, seconds: int) -> None:
        self.now += seconds * 1e6
        self.joint.poll(self.now)
        assert self.joint.restarts == (self.trial is not None and self.now >= TRIAL_US)
        self.restarted()

    @rule(fails=st.booleans())
    def memory(self, fails: bool) -> None:
        self.store.fails = fails

    @invariant()
    def what_runs_is_old_or_new_and_whole(self) -> None:
        running = self.store.running
        data = None if running is None else running.data
        assert data == (self.confirmed if self.trial is None else self.trial)
        assert self.store.on_trial == (self.trial is not None)
        if running is not None:
            assert data in IMAGES
            assert running.header == header_of(running.data, running.header.firmware, BOARD)


TestUpdates = Updates.TestCase


@given(
    st.sampled_from(IMAGES),
    st.lists(st.tuples(st.integers(0, 5), st.booleans()), max_size=6),
)
def test_image_gets_through_whatever_breaks_come_as_long_as_somebody_goes_on(
    data: bytes, breaks: list[tuple[int, bool]]
) -> None:
    """A coordinator that asks after each break and goes on from what it hears."""
    machine = Updates()
    k = IMAGES.index(data)
    for frames, power in [*breaks, (len(data), False)]:
        machine.announce(k)
        for frame in frames_of(data, machine.kept)[:frames]:
            assert machine.joint.image_frame(frame, machine.now) is None
        if power:
            machine.cut_power()
    machine.install()
    assert machine.trial == data
    machine.drive(energise=False)
    machine.what_runs_is_old_or_new_and_whole()
    assert machine.confirmed == data
