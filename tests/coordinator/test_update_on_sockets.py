"""Updates over real sockets, the service and its joints in one loop: the streams break for true."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest

from coordinator.codes.update_phase import UpdatePhase as P
from coordinator.config.arm import Arm, parse_arm
from coordinator.config.data_folder import make_key, read_key
from coordinator.core.events import CancelUpdate, Refused, Update
from coordinator.core.snapshot.arm import ArmSnapshot
from coordinator.core.updating.signed import SignedImage, read_signed
from coordinator.core.updating.updates import UpdateSnapshot
from coordinator.rehearsal.software_joints import joint_settings
from coordinator.service import Service, running
from coordinator.store import Store, events
from protocol.image import encode_header
from simulator.network import PROFILES
from simulator.port import JointPort
from simulator.server import joints_served
from simulator.unit import FIRMWARE, JointUnit
from tests.own import SERVICE_TYPE
from tests.quick_arm import arm_text
from tests.simulator.joint.signing import PUBLIC, SECRET, STRANGER, data_of, header_of

HOST = "127.0.0.1"
PATIENCE_S = 40.0
DATA = data_of(1, 400_000)
Bench = tuple[Service, list[JointPort]]


def signed(data: bytes = DATA, *, is_own: bool = True) -> SignedImage:
    header = encode_header(header_of(data))
    return read_signed("file", header + (SECRET if is_own else STRANGER).sign(header) + data)


@contextlib.asynccontextmanager
async def bench(folder: Path) -> AsyncIterator[Bench]:
    """A coordinator and its two joints, linked."""
    make_key(folder)
    arm: Arm = parse_arm(arm_text(2, touch=False), folder / "arm.toml")
    async with (
        joints_served(
            joint_settings(arm, 1),
            read_key(folder),
            interface=HOST,
            profile=PROFILES["none"],
            seed=1,
            service_type=SERVICE_TYPE,
            update_key=PUBLIC,
        ) as ports,
        running(arm, folder, HOST) as service,
    ):
        await until(lambda: all(one.link == "up" and one.state for one in arm_of(service).joints))
        yield service, ports


def arm_of(service: Service) -> ArmSnapshot:
    return service.snapshot()


def update_of(service: Service) -> UpdateSnapshot:
    found = arm_of(service).update
    assert found is not None
    return found


async def until(look: Callable[[], bool]) -> None:
    async with asyncio.timeout(PATIENCE_S):
        while not look():
            await asyncio.sleep(0.005)


async def over(service: Service) -> UpdateSnapshot:
    await until(lambda: update_of(service).phase.is_over)
    return update_of(service)


def break_streams(port: JointPort) -> None:
    """Whoever is connected to a joint is cut off, without a word."""
    for stream in port._streams.values():
        stream.socket.transport.abort()


async def lines(folder: Path) -> list[tuple[str, str | None]]:
    """Code and joint of the journal's lines, oldest first."""
    store = Store(folder)
    told = await store.read(lambda one: events.newest(one, None, 100, details=False))
    await store.close()
    return [(one["code"], one["joint"]) for one in reversed(told)]


async def test_streams_that_break_in_the_middle_go_on_and_the_journal_has_two_lines(
    tmp_path: Path,
) -> None:
    async with bench(tmp_path) as (service, (port, _)):
        service.command(Update("turntable", signed()), "somebody")
        for share in (0.1, 0.4, 0.8):
            await until(lambda share=share: update_of(service).sent_bytes > share * len(DATA))  # type: ignore[misc]
            break_streams(port)
        assert (await over(service)).message == f"turntable: 1.5.0 confirmed; it was {FIRMWARE}"
        (first, other) = arm_of(service).joints
        assert (first.firmware, first.image) == ("1.5.0", header_of(DATA).sha256.hex())
        assert (other.firmware, other.image) == (FIRMWARE, None)
        assert port.unit.images is not None
        assert not port.unit.images.on_trial
        assert not arm_of(service).warnings
    told = [one for one in await lines(tmp_path) if not one[0].startswith("coordinator-")]
    assert told == [("command-update", "turntable"), ("update-done", "turntable")]


async def test_firmware_that_answers_no_drive_gives_way_to_the_old_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("simulator.joint.update.TRIAL_US", 1_500_000)
    answer = JointUnit.datagram

    def deaf(self: JointUnit, data: bytes, true_us: float) -> object:
        on_trial = self.images is not None and self.images.on_trial
        return None if on_trial else answer(self, data, true_us)

    monkeypatch.setattr(JointUnit, "datagram", deaf)
    async with bench(tmp_path) as (service, _):
        service.command(Update("turntable", signed()))
        await until(lambda: update_of(service).phase is P.ON_TRIAL)
        assert arm_of(service).joints[0].on_trial
        found = await over(service)
        assert found.phase is P.WENT_BACK
        told = f"turntable went back to {FIRMWARE}: the new firmware did not answer"
        assert found.message == told
        assert arm_of(service).joints[0].firmware == FIRMWARE


async def test_a_foreign_signature_is_refused_by_the_joint(tmp_path: Path) -> None:
    async with bench(tmp_path) as (service, _):
        service.command(Update("turntable", signed(is_own=False)))
        found = await over(service)
        assert (found.phase, found.code) == (P.FAILED, "image-signature")


async def test_what_is_cancelled_goes_on_where_it_was_when_it_is_begun_again(
    tmp_path: Path,
) -> None:
    async with bench(tmp_path) as (service, (port, _)):
        service.command(Update("turntable", signed()))
        await until(lambda: update_of(service).sent_bytes > len(DATA) // 2)
        with pytest.raises(Refused, match="is being updated"):
            service.command(Update("shoulder", signed()))
        service.command(CancelUpdate("turntable"))
        assert update_of(service).phase is P.CANCELLED
        assert port.unit.images is not None
        assert port.unit.images.running is None
        service.command(Update("turntable", signed()))
        await until(lambda: update_of(service).phase is P.SENDING)
        assert update_of(service).sent_bytes > len(DATA) // 4
        assert (await over(service)).phase is P.DONE


async def test_a_coordinator_that_ends_in_the_middle_says_so_in_the_journal(
    tmp_path: Path,
) -> None:
    async with bench(tmp_path) as (service, _):
        service.command(Update("turntable", signed()))
        await until(lambda: update_of(service).sent_bytes > 0)
    told = [one for one, _ in await lines(tmp_path)]
    assert told[-3:] == ["command-update", "update-failed", "coordinator-ending"]
