"""The journal in a real database, and what becomes of events that the disk does not take."""

import asyncio
import logging
from collections.abc import AsyncIterator
from pathlib import Path
from typing import Any

import pytest

from coordinator.codes.level import Level
from coordinator.core.events import (
    Blink,
    Command,
    Hold,
    HoldHome,
    Home,
    Jog,
    Note,
    Override,
    Play,
    Resume,
    Step,
    Stop,
    Switch,
)
from coordinator.records.journal import Journal, command_words
from coordinator.store import Store, events
from protocol.drive import StopLevel


@pytest.fixture(name="store")
async def open_store(tmp_path: Path) -> AsyncIterator[Store]:
    store = Store(tmp_path)
    yield store
    await store.close()


@pytest.mark.parametrize(
    ("command", "number", "words"),
    [
        (Home(), 4, "home all joints, homing 4"),
        (Home(("elbow", "wrist")), 5, "home elbow wrist, homing 5"),
        (HoldHome("elbow"), 6, "home elbow while its control is held, homing 6"),
        (Play("tray.nc", "M2\n", ()), 6, "play tray.nc, run 6"),
        (Hold(), None, "hold"),
        (Resume(), None, "resume"),
        (Stop(StopLevel.STOP_AND_RELEASE), None, "stop, level stop-and-release"),
        (Override(125_000), None, "override 12.5 %"),
        (Jog({"elbow": -2.5, "tool": 4.0}), None, "jog elbow at -2.5 °/s, tool at 4 °/s"),
        (Step("elbow", -0.05, 2.0), None, "step elbow by -0.05°"),
        (Blink("elbow"), None, "blink elbow"),
        (Switch("gripper", True), None, "switch gripper on"),
    ],
)
def test_every_command_is_told_in_words(command: Command, number: int | None, words: str) -> None:
    assert command_words(command, number) == words


async def test_notes_and_commands_are_kept_in_the_order_in_which_they_came(
    store: Store,
) -> None:
    journal = Journal(store, lambda _code, _why: None)
    journal.command(Jog({"elbow": 2.0}), None, "the phone", 1_000_000)
    journal.note(Note(1_000_001, Level.DANGER, "fault-driver", "elbow: its driver is off", "elbow"))
    await store.write(lambda _connection: None)  # behind them
    kept = await store.read(lambda connection: events.newest(connection, None, 9))
    columns = ("at_us", "level", "code", "message", "joint", "who")
    assert [tuple(one[column] for column in columns) for one in reversed(kept)] == [
        (1_000_000, "info", "command-jog", "jog elbow at 2 °/s", "elbow", "the phone"),
        (1_000_001, "danger", "fault-driver", "elbow: its driver is off", "elbow", None),
    ]


async def test_details_are_kept_beside_the_lines_that_they_belong_to(store: Store) -> None:
    journal = Journal(store, lambda _code, _why: None)
    journal.note(Note(5, Level.ATTENTION, "control-taken", "the phone took control"))
    journal.command(Hold(), None, "the phone", 5, detail=True)
    journal.note(Note(6, Level.INFO, "joint-held", "elbow holds", "elbow", detail=True))
    await store.write(lambda _connection: None)
    lines = await store.read(lambda connection: events.newest(connection, None, 9))
    every = await store.read(lambda connection: events.newest(connection, None, 9, details=True))
    assert [one["code"] for one in lines] == ["control-taken"]
    assert [(one["code"], one["detail"]) for one in every] == [
        ("joint-held", True), ("command-hold", True), ("control-taken", False),
    ]  # fmt: skip


async def test_event_that_is_lost_is_named_each_time_and_logged_once(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    store, missing = Store(tmp_path), []

    def take(code: str, why: str) -> None:
        missing.append((code, why))

    await store.close()  # takes nothing any more
    journal = Journal(store, take)
    with caplog.at_level(logging.WARNING):
        for code in ("joint-warm", "homed"):
            journal.note(Note(5, Level.INFO, code, "words"))
            await asyncio.sleep(0)
            await asyncio.sleep(0)
    assert [code for code, _ in missing] == ["joint-warm", "homed"]
    assert all("is closed" in why for _, why in missing)
    told = [one.getMessage() for one in caplog.records if one.name == "coordinator.records.journal"]
    assert len(told) == 1
    assert told[0].startswith("event joint-warm is not kept: ")


async def test_no_text_that_a_joint_sends_keeps_the_rest_from_the_journal(store: Store) -> None:
    missing: list[Any] = []
    journal = Journal(store, lambda code, why: missing.append((code, why)))
    journal.note(Note(5, Level.INFO, "odd", "\ud800"))  # no UTF-8 has it
    journal.note(Note(6, Level.INFO, "homed", "elbow\0 is\nhomed"))
    await store.write(lambda _connection: None)
    kept = await store.read(lambda connection: events.newest(connection, None, 9))
    assert [one["message"] for one in kept] == ["elbow\0 is\nhomed"]
    assert [code for code, _ in missing] == ["odd"]
