"""Updates over real sockets, the service and its joints' ends in one loop: the streams break for
true. Each is tried with joints in Python, which are in this loop too, and with programs in C.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest
from websockets.asyncio.client import ClientConnection

from coordinator.codes.update_phase import UpdatePhase as P
from coordinator.config.arm import Arm, parse_arm
from coordinator.config.data_folder import make_key
from coordinator.core.events import CancelUpdate, Refused, Update
from coordinator.core.snapshot.arm import ArmSnapshot
from coordinator.core.updating.signed import read_signed
from coordinator.core.updating.updates import UpdateSnapshot
from coordinator.rehearsal.software_joints import joint_settings
from coordinator.service import Service, running
from coordinator.store import Store, events
from simulator.unit import JointUnit
from tests.quick_arm import arm_text
from tests.updatable import HOST, SIZE, Updatable

PATIENCE_S = 60.0
FIRST = "turntable"


@contextlib.asynccontextmanager
async def bench(folder: Path, kind: Updatable) -> AsyncIterator[Service]:
    """A coordinator and its two joints, linked."""
    make_key(folder)
    arm: Arm = parse_arm(arm_text(2, touch=False), folder / "arm.toml")
    async with (
        kind.served(joint_settings(arm, 1), folder),
        running(arm, folder, HOST) as service,
    ):
        await until_linked(service)
        yield service


def update_with(file: bytes, joint: str = FIRST) -> Update:
    return Update(joint, read_signed("file", file))


@pytest.fixture(name="sockets")
def sockets_of_the_coordinator(monkeypatch: pytest.MonkeyPatch) -> list[ClientConnection]:
    """Its ends of the streams, in the order in which they were made."""
    made: list[ClientConnection] = []
    begin = ClientConnection.connection_made

    def noted(self: ClientConnection, transport: asyncio.BaseTransport) -> None:
        made.append(self)
        begin(self, transport)

    monkeypatch.setattr(ClientConnection, "connection_made", noted)
    return made


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


async def until_linked(service: Service) -> None:
    await until(lambda: all(one.link == "up" and one.state for one in arm_of(service).joints))


async def over(service: Service) -> UpdateSnapshot:
    await until(lambda: update_of(service).phase.is_over)
    return update_of(service)


def break_streams(sockets: list[ClientConnection]) -> None:
    """All are cut off, without a word."""
    while sockets:
        sockets.pop().transport.abort()


async def lines(folder: Path) -> list[tuple[str, str | None]]:
    """Code and joint of the journal's lines, oldest first."""
    store = Store(folder)
    told = await store.read(lambda one: events.newest(one, None, 100, details=False))
    await store.close()
    return [(one["code"], one["joint"]) for one in reversed(told)]


async def test_streams_that_break_in_the_middle_go_on_and_the_journal_has_two_lines(
    tmp_path: Path, updatable: Updatable, sockets: list[ClientConnection]
) -> None:
    async with bench(tmp_path, updatable) as service:
        service.command(update_with(updatable.file()), "somebody")
        for share in (0.1, 0.4, 0.8):
            await until(lambda share=share: update_of(service).sent_bytes > share * SIZE)  # type: ignore[misc]
            break_streams(sockets)
        told = f"{FIRST}: {updatable.new} confirmed; it was {updatable.old}"
        assert (await over(service)).message == told
        (first, other) = arm_of(service).joints
        digest = updatable.header().sha256.hex()
        assert (first.firmware, first.image, first.on_trial) == (updatable.new, digest, False)
        assert (other.firmware, other.image) == (updatable.old, None)
        assert not arm_of(service).warnings
    lines_told = [one for one in await lines(tmp_path) if not one[0].startswith("coordinator-")]
    assert lines_told == [("command-update", FIRST), ("update-done", FIRST)]


async def test_firmware_that_answers_no_drive_gives_way_to_the_old_one(
    tmp_path: Path, updatable: Updatable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """In C it ends at once; in Python it is heard on its stream, and never by a status."""
    monkeypatch.setattr("simulator.joint.update.TRIAL_US", 1_500_000)
    answer = JointUnit.datagram

    def deaf(self: JointUnit, data: bytes, true_us: float) -> object:
        on_trial = self.images is not None and self.images.on_trial
        return None if on_trial else answer(self, data, true_us)

    monkeypatch.setattr(JointUnit, "datagram", deaf)
    async with bench(tmp_path, updatable) as service:
        service.command(update_with(updatable.file(updatable.vain)))
        if updatable.language == "python":
            await until(lambda: update_of(service).phase is P.ON_TRIAL)
            assert arm_of(service).joints[0].on_trial
        found = await over(service)
        assert found.phase is P.WENT_BACK
        told = f"{FIRST} went back to {updatable.old}: the new firmware did not answer"
        assert found.message == told
        joint = arm_of(service).joints[0]
        assert (joint.firmware, joint.image) == (updatable.old, None)
        # And it takes another one.
        monkeypatch.setattr(JointUnit, "datagram", answer)
        await until_linked(service)
        service.command(update_with(updatable.file()))
        assert (await over(service)).phase is P.DONE


async def test_a_second_update_takes_the_place_of_the_first(
    tmp_path: Path, updatable: Updatable
) -> None:
    """Each of two slots has run then."""
    async with bench(tmp_path, updatable) as service:
        for data in (updatable.data, updatable.data + b"#", updatable.data + b"##"):
            service.command(update_with(updatable.file(data)))
            assert (await over(service)).phase is P.DONE
            await until_linked(service)
            assert arm_of(service).joints[0].image == updatable.header(data).sha256.hex()
        with pytest.raises(Refused, match="runs this very image already"):
            service.command(update_with(updatable.file(data)))


async def test_a_foreign_signature_is_refused_by_the_joint(
    tmp_path: Path, updatable: Updatable
) -> None:
    async with bench(tmp_path, updatable) as service:
        service.command(update_with(updatable.file(is_own=False)))
        found = await over(service)
        assert (found.phase, found.code) == (P.FAILED, "image-signature")
        assert "is not signed by the key that the joint trusts" in found.message


async def test_an_image_for_the_other_kind_of_joint_is_refused_before_anything_is_sent(
    tmp_path: Path, updatable: Updatable
) -> None:
    other = "posix" if updatable.language == "python" else "software-joint"
    told = f"the image is for the board {other}, and {FIRST} is a {updatable.board}"
    async with bench(tmp_path, updatable) as service:
        with pytest.raises(Refused, match=told):
            service.command(update_with(updatable.file(board=other)))
        assert arm_of(service).update is None


async def test_what_is_cancelled_goes_on_where_it_was_when_it_is_begun_again(
    tmp_path: Path, updatable: Updatable
) -> None:
    async with bench(tmp_path, updatable) as service:
        service.command(update_with(updatable.file()))
        await until(lambda: update_of(service).sent_bytes > SIZE // 2)
        with pytest.raises(Refused, match="is being updated"):
            service.command(update_with(updatable.file(), "shoulder"))
        service.command(CancelUpdate(FIRST))
        assert update_of(service).phase is P.CANCELLED
        assert arm_of(service).joints[0].image is None
        service.command(update_with(updatable.file()))
        await until(lambda: update_of(service).phase is P.SENDING)
        assert update_of(service).sent_bytes > SIZE // 4
        assert (await over(service)).phase is P.DONE


async def test_a_coordinator_that_ends_in_the_middle_says_so_in_the_journal(
    tmp_path: Path, updatable: Updatable
) -> None:
    async with bench(tmp_path, updatable) as service:
        service.command(update_with(updatable.file()))
        await until(lambda: update_of(service).sent_bytes > 0)
    told = [one for one, _ in await lines(tmp_path)]
    assert told[-3:] == ["command-update", "update-failed", "coordinator-ending"]
