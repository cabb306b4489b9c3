"""The service around the core, with no joint there; with joints it is tested end to end."""

import asyncio
import contextlib
import json
import threading
import time
from pathlib import Path
from typing import Any

import pytest

from coordinator import service as service_module
from coordinator.codes.level import Level
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import DataFolderError, make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.core.events import (
    Action,
    Because,
    Command,
    DriveSent,
    Hold,
    Home,
    Refused,
    Resume,
    SendDrive,
    Stop,
    Touched,
)
from coordinator.core.link.link import JointLink
from coordinator.core.machine import Coordinator
from coordinator.history.cells import cell_of
from coordinator.history.quantities import Counts
from coordinator.links.clock import arm_now_us
from coordinator.playing.runs import Wanted
from coordinator.programs import ProgramError
from coordinator.service import Service, running
from coordinator.store import Store, events, runs

ARM = load_arm(DEMO_ARM)
HOST = "127.0.0.1"


async def test_runs_that_a_dead_coordinator_left_are_shown_as_lost(
    tmp_path: Path,
) -> None:
    make_key(tmp_path)
    cut_short = {"run": 41, "outcome": "playing", "message": "", "name": "a.nc"}
    store = Store(tmp_path)
    await store.write(lambda connection: runs.save(connection, cut_short))
    await store.close()
    async with running(ARM, tmp_path, HOST) as service:
        (told,) = await service.runs.summaries(None, 100)
        assert (told["run"], told["name"], told["outcome"]) == (41, "a.nc", "lost")
        report = await service.runs.report(41)
        assert report is not None
        assert report["outcome"] == "lost"
        progress = await service.runs.progress(41)
        assert progress is not None
        assert (progress["phase"], progress["outcome"]) == ("ended", "lost")
        assert await service.runs.report(42) is None
        assert await service.runs.progress(42) is None


async def lines(folder: Path) -> list[tuple[str, str]]:
    """Code and message of what the journal in a folder has, oldest first."""
    store = Store(folder)
    told = await store.read(lambda connection: events.newest(connection, None, 100))
    await store.close()
    return [(one["code"], one["message"]) for one in reversed(told)]


async def test_journal_tells_that_a_coordinator_began_and_ended_and_what_its_forerunner_left(
    tmp_path: Path,
) -> None:
    make_key(tmp_path)
    cut_short = {"run": 41, "outcome": "held", "message": "", "name": "a.nc"}
    store = Store(tmp_path)
    await store.write(lambda connection: runs.save(connection, cut_short))
    await store.close()
    for _ in range(2):
        async with running(ARM, tmp_path, HOST) as service:
            assert "coordinator-started" in [note.code for note in service.snapshot().notes]
    told = await lines(tmp_path)
    assert [code for code, _ in told] == [
        "coordinator-started", "cut-short", "coordinator-ending",
        "coordinator-started", "coordinator-ending",
    ]  # fmt: skip
    assert told[0][1] == f"the coordinator of {ARM.name} started"
    assert told[1][1].startswith("run 41, a.nc, was held: the coordinator ended before this run")


async def test_what_a_coordinator_holds_at_its_end_is_said_to_be_held_by_that(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_key(tmp_path)
    asked: list[Command] = []
    async with running(ARM, tmp_path, HOST):
        monkeypatch.setattr(Coordinator, "command", lambda _core, what, _now: asked.append(what))
    assert asked == [Hold(Because.ENDING)]


async def test_nothing_begins_or_goes_on_while_the_coordinator_ends(tmp_path: Path) -> None:
    make_key(tmp_path)
    async with running(ARM, tmp_path, HOST) as service:
        pass
    for command in (Home(), Resume(), Stop()):
        with pytest.raises(Refused) as caught:
            service.command(command)
        assert (caught.value.code, caught.value.message) == ("ending", "the coordinator is ending")


async def test_what_is_told_after_the_end_arms_no_timer_and_carries_out_nothing(
    tmp_path: Path,
) -> None:
    make_key(tmp_path)
    async with running(ARM, tmp_path, HOST) as service:
        pass
    service.tell(Level.INFO, "control", "somebody took control")
    service._go_on()
    assert service._timer is not None
    assert service._timer.cancelled()


async def test_a_gap_of_the_history_that_ends_with_the_last_write_is_in_journal_and_log(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    make_key(tmp_path)
    joint = ARM.joints[0].name
    async with running(ARM, tmp_path, HOST) as service:
        collector = service.history._collector
        collector.add(joint, 1_780_000_000, cell_of(None, Counts(on_us=1)))
        collector.gap = 1_780_000_000, 1_780_000_060
    gaps = [message for code, message in await lines(tmp_path) if code == "history-gap"]
    assert [gap.endswith("known less finely, or not at all") for gap in gaps] == [True]
    assert gaps[0] in [one.message for one in caplog.records]


async def test_service_without_a_key_does_not_begin(tmp_path: Path) -> None:
    with pytest.raises(DataFolderError, match="key new"):
        Service(ARM, tmp_path, HOST)


async def test_service_that_gets_no_socket_leaves_its_database_closed(tmp_path: Path) -> None:
    make_key(tmp_path)
    with pytest.raises(OSError, match=r"."):
        # An address of documentation (RFC 5737), which no interface here has.
        async with running(ARM, tmp_path, "192.0.2.1"):
            pass
    assert "store-write" not in {thread.name for thread in threading.enumerate()}


async def test_service_of_a_wrong_name_opens_no_database(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_key(tmp_path)
    monkeypatch.setenv("UNISONO_SERVICE", "___")
    with pytest.raises(ValueError, match="UNISONO_SERVICE"):
        async with running(ARM, tmp_path, HOST):
            pass
    assert "store-write" not in {thread.name for thread in threading.enumerate()}


async def test_program_is_checked_before_the_arm_is_asked(tmp_path: Path) -> None:
    make_key(tmp_path)
    async with running(ARM, tmp_path, HOST) as service:
        with pytest.raises(ProgramError):
            await service.runs.play(Wanted("a.nc", "G7\n"))
        with pytest.raises(Refused) as caught:
            await service.runs.play(Wanted("a.nc", "G0 A1\nM2\n"))
        assert caught.value.code == "joint-offline"
        checked = json.loads(await service.runs.check("G0 A1\nM2\n"))
        assert checked["ok"]
        assert await service.runs.summaries(None, 100) == []


async def test_a_check_begins_where_the_arm_stands_only_while_every_joint_is_heard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_key(tmp_path)
    async with running(ARM, tmp_path, HOST) as service:
        # As it stood when it was heard last.
        monkeypatch.setattr(service._core, "start_counts", lambda: [0] * len(ARM.joints))
        assert json.loads(await service.runs.check("G0 A1\nM2\n"))["begins"] == "park"
        monkeypatch.setattr(JointLink, "heard", lambda _link, _now: True)
        assert json.loads(await service.runs.check("G0 A1\nM2\n"))["begins"] == "here"


async def test_hold_or_stop_while_a_program_is_planned_or_recorded_keeps_it_from_beginning(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_key(tmp_path)
    # As if all joints were there and homed, until the core itself looks.
    monkeypatch.setattr(Coordinator, "start_counts", lambda _core: [0] * len(ARM.joints))
    async with running(ARM, tmp_path, HOST) as service:
        for command in (None, Hold(), Stop()):

            async def meanwhile(asked: Command | None = command) -> bool:
                # The run is recorded by now.
                assert [one["outcome"] for one in await service.runs.summaries(None, 100)] == [
                    "playing"
                ]
                with contextlib.suppress(Refused):
                    if asked is not None:
                        service.command(asked)
                return False

            with pytest.raises(Refused) as caught:
                await service.runs.play(Wanted("a.nc", "G0 A1\nM2\n"), meanwhile)
            assert caught.value.code == ("joint-offline" if command is None else "halted")
            assert await service.runs.summaries(None, 100) == []  # what did not begin is no run


async def test_sleep_of_the_host_ends_the_session(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_key(tmp_path)
    slept_s = 0
    real = time.clock_gettime_ns

    def read(clock: int) -> int:
        return real(clock) + (slept_s * 10**9 if clock == time.CLOCK_BOOTTIME else 0)

    monkeypatch.setattr(time, "clock_gettime_ns", read)
    async with running(ARM, tmp_path, HOST) as service:
        before = service.snapshot().session
        slept_s = 3600
        async with asyncio.timeout(30):
            while service.snapshot().session == before:
                await asyncio.sleep(0.01)
        notes = [note.message for note in service.snapshot().notes]
        assert any("slept for 3600.0 s" in note for note in notes)
        once = service.snapshot().session
        await service.runs.check("M2\n")
        assert service.snapshot().session == once
        assert not service.failed.is_set()


async def test_broken_core_stops_everything_and_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    make_key(tmp_path)
    async with running(ARM, tmp_path, HOST) as service:

        def broken(*_arguments: Any) -> None:
            raise RuntimeError("a slip")

        monkeypatch.setattr(Coordinator, "poll", broken)
        with pytest.raises(Refused) as caught:
            service.command(Home())
        assert caught.value.code in ("failed", "joint-offline")
        async with asyncio.timeout(30):
            await service.failed.wait()
        with pytest.raises(Refused) as caught:
            service.command(Home())
        assert caught.value.code == "failed"
    assert "a slip" in caplog.text


async def test_end_waits_for_a_disk_that_hangs_only_so_long_and_says_what_is_not_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    make_key(tmp_path)
    monkeypatch.setattr(service_module, "DISK_S", 0.05)
    let = threading.Event()
    async with running(ARM, tmp_path, HOST) as service:
        service._store.write(lambda _connection: let.wait(30))
        service.homings._unsaved[7] = {"number": 7, "state": "done"}, "2026-05-01T10:00:00+00:00"
    assert "has not answered: what waits for it is not written" in caplog.text
    assert "what came last of runs, homings or joints is not written" in caplog.text
    let.set()
    service._store._writer._thread.join(30)


async def test_what_a_joints_own_control_asks_for_comes_after_the_drives_that_are_due(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    make_key(tmp_path)
    monkeypatch.setattr(JointLink, "in_session", True)
    async with running(ARM, tmp_path, HOST) as service:
        numbers: list[int] = []

        def carry_out(action: Action) -> DriveSent | None:
            if not isinstance(action, SendDrive):
                return None
            if action.joint_id == ARM.joints[0].id:
                numbers.append(action.drive.sequence)
            return DriveSent(action.joint_id, action.drive.sequence, arm_now_us())

        monkeypatch.setattr(service._carrier, "carry_out", carry_out)
        monkeypatch.setattr(service, "on_touch", lambda _: service.command(Stop()))
        service._core.outbox.actions.append(Touched(ARM.joints[0].name, 1, 0, 0))
        service._core.outbox.at_once = True
        service._wake()
        assert not service.failed.is_set()
        assert len(numbers) == 2
        assert numbers[0] < numbers[1]
