"""A software joint that restarts by itself: with new firmware, and back from it."""

import pytest

from protocol.constants import TRIAL_US
from protocol.drive import StopLevel
from protocol.image import encode_image_frame
from protocol.messages import Ack, Install, Updating, encode
from simulator.joint.endpoint import StreamOut
from simulator.unit import FIRMWARE, JointUnit
from tests.simulator.joint.signing import announcing, data_of, frames_of, header_of, store
from tests.simulator.test_unit import KEY, NONCE, SETTINGS, START_US, Bench

DATA = data_of(1)
LATE_US = 1e9


class Updater(Bench):
    """A coordinator that brings firmware."""

    def body(self, body: bytes) -> StreamOut:
        return self.unit.stream_frame(1, self.sealer.seal(body)[1], self.now)

    def announce(self, data: bytes, firmware: str = "1.5.0") -> object:
        """The event that answers."""
        ack, event = self.reports(self.body(encode(announcing(header_of(data, firmware)))).frames)
        assert isinstance(ack, Ack)
        return event

    def bring(self, data: bytes, begin: int = 0) -> None:
        for frame in frames_of(data, begin):
            [ack] = self.reports(self.body(encode_image_frame(frame)).frames)
            assert isinstance(ack, Ack)

    def install(self) -> StreamOut:
        return self.body(encode(Install()))


def bench_with(data: bytes | None = DATA) -> Updater:
    """A joint to which an image has come, but for its install."""
    bench = Updater(JointUnit(SETTINGS, KEY, START_US, images=store()))
    if data is not None:
        bench.announce(data)
        bench.bring(data)
    return bench


def again(bench: Updater) -> Updater:
    """The same joint after a restart."""
    return Updater(bench.unit, bench.now + 1.0)


def test_install_restarts_the_joint_which_closes_its_streams_and_runs_what_came() -> None:
    bench = bench_with()
    unit, boot = bench.unit, bench.unit.joint.identity.boot
    unit.stream_opened(2, bench.now, NONCE)
    before = unit.true_position(bench.now)[0]
    out = bench.install()
    assert [type(one) for one in bench.reports(out.frames)] == [Ack]
    assert out.going == (1, 2)
    assert unit.joint.identity.boot != boot
    assert unit.joint.identity.firmware == "1.5.0"
    assert unit.true_position(bench.now)[0] == pytest.approx(before)
    assert unit.joint_us(bench.now + 5.0) < 10.0
    assert unit.joint.configuration_digest is None
    assert unit.images is not None
    assert unit.images.on_trial
    bench = again(bench)
    bench.drive()
    bench.wait(2.0 * TRIAL_US)
    assert unit.joint.identity.firmware == "1.5.0"


@pytest.mark.parametrize("every_us", [1e6, LATE_US])
def test_trial_that_nobody_confirms_ends_by_itself_at_its_instant(every_us: float) -> None:
    """However late its world looks at it."""
    bench = bench_with()
    bench.install()
    begun_us, boot = bench.now, bench.unit.joint.identity.boot
    bench.unit.stream_opened(7, bench.now, NONCE)
    going: list[int] = []
    while bench.now < begun_us + 300e6:
        bench.now = min(bench.now + every_us, begun_us + 300e6)
        going += bench.unit.poll(bench.now).going
    assert bench.unit.joint.identity.boot != boot
    assert bench.unit.joint.identity.firmware == FIRMWARE
    # 180 s ago by its own clock, which is wrong by 100 ppm at most: each boot has another rate.
    assert bench.unit.joint_us(bench.now) == pytest.approx(180e6, abs=2 * 100 * 180)
    # A stream that proved nothing within 5 s was closed long before.
    assert going == []


def test_stream_that_is_open_when_the_trial_ends_is_closed() -> None:
    bench = bench_with()
    bench.install()
    unit = bench.unit
    bench.now += TRIAL_US - 1e6
    unit.poll(bench.now)
    unit.stream_opened(8, bench.now, NONCE)
    bench.now += 2e6
    assert unit.poll(bench.now).going == (8,)
    assert unit.poll(bench.now).going == ()


def test_power_cut_during_the_trial_brings_back_what_ran_before() -> None:
    bench = bench_with()
    bench.install()
    bench = again(bench)
    bench.drive()
    other = data_of(2)
    bench.wait(1.0)
    bench.drive(energise=False, stop=StopLevel.RELEASE)
    bench.wait(1.0)
    bench.announce(other, "1.6.0")
    bench.bring(other)
    bench.install()
    assert bench.unit.joint.identity.firmware == "1.6.0"
    bench.unit.reboot(bench.now)
    assert bench.unit.joint.identity.firmware == "1.5.0"
    assert bench.unit.images is not None
    assert not bench.unit.images.on_trial


def test_update_goes_on_after_a_power_cut_where_it_is_kept() -> None:
    bench = bench_with(None)
    bench.announce(DATA)
    bench.bring(DATA[:6_144])
    bench.unit.reboot(bench.now)
    bench = again(bench)
    kept = Updating(image=header_of(DATA).sha256.hex(), received=4_096)
    assert bench.announce(DATA) == kept
    bench.bring(DATA, 4_096)
    bench.install()
    assert bench.unit.joint.identity.firmware == "1.5.0"


def test_install_by_value_restarts_too() -> None:
    bench = bench_with()
    boot = bench.unit.joint.identity.boot
    refusal = bench.unit.by_value(bench.now, lambda joint, now: joint.request(Install(), now))
    assert refusal is None
    assert bench.unit.joint.identity.boot != boot
    assert bench.unit.joint.identity.firmware == "1.5.0"
