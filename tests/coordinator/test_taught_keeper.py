"""What was taught is on the disk before it counts, and is there after a restart."""

from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from pathlib import Path
from random import Random

import pytest
from sqlalchemy import Connection

from coordinator.core.events import Refused
from coordinator.records.taught import TaughtKeeper, TaughtNow
from coordinator.store import Store, StoreError, taught
from coordinator.teaching.edits import Edit
from coordinator.teaching.program_edits import KeepProgram
from coordinator.teaching.sequence_edits import AddSequence
from coordinator.teaching.taught import Taught, TaughtError
from coordinator.teaching.visit_edits import Move, Record, Remove, SetVisit
from tests.coordinator.teaching.kit import ARM

WHO = "the terminal of tests"


@asynccontextmanager
async def kept(folder: Path) -> AsyncIterator[TaughtKeeper]:
    """A keeper of an arm that stands at 1°, 2°, 3°."""
    store = Store(folder)
    yield TaughtKeeper(store, ARM, lambda: {"turntable": 1.0, "shoulder": 2.0, "elbow": 3.0})
    await store.close()


async def edited(keeper: TaughtKeeper, *edits: Edit) -> TaughtNow:
    for edit in edits:
        await keeper.edit((await keeper.now()).revision, edit, WHO)
    return await keeper.now()


BEGIN: tuple[Edit, ...] = (
    AddSequence("add-sequence", "pick"),
    Record("record", 1, None, "above"),
    Record("record", 1, None, "tray"),
)


async def test_what_was_taught_its_undo_and_its_redo_are_there_after_a_restart(
    tmp_path: Path,
) -> None:
    async with kept(tmp_path) as keeper:
        before = await edited(keeper, *BEGIN)
        await keeper.undo(before.revision)
    async with kept(tmp_path) as keeper:
        now = await keeper.now()
        assert [one.name for one in now.taught.waypoints.values()] == ["above"]
        assert now.undo == "recorded 'above' in 'pick'"
        assert now.redo == "recorded 'tray' in 'pick'"
        again = await keeper.redo(now.revision)
        assert (again.taught, again.undo, again.redo) == (before.taught, before.undo, None)


async def test_all_changes_are_undone_to_nothing_and_done_again(tmp_path: Path) -> None:
    async with kept(tmp_path) as keeper:
        now = await edited(
            keeper, *BEGIN, SetVisit("set-visit", 1, 0, dwell_s=0.5), Move("move", 1, 0, 1)
        )
        states = [now.taught]
        while now.undo is not None:
            now = await keeper.undo(now.revision)
            states.append(now.taught)
        assert now.taught == Taught()
        assert len(states) == 6
        with pytest.raises(Refused) as caught:
            await keeper.undo(now.revision)
        assert caught.value.code == "nothing-to-undo"
        for state in reversed(states[:-1]):
            now = await keeper.redo(now.revision)
            assert now.taught == state
        with pytest.raises(Refused) as caught:
            await keeper.redo(now.revision)
        assert caught.value.code == "nothing-to-redo"


async def test_an_edit_after_an_undo_is_what_redo_knows_and_the_other_stays_in_the_history(
    tmp_path: Path,
) -> None:
    async with kept(tmp_path) as keeper:
        now = await edited(keeper, *BEGIN)
        now = await keeper.undo(now.revision)
        now = await keeper.edit(now.revision, Record("record", 1, None, "park"), WHO)
        assert now.redo is None
        now = await keeper.undo(now.revision)
        assert now.redo == "recorded 'park' in 'pick'"
        words = [one.words for one in await keeper.changes(None, 10, None)]
        assert words == [
            "recorded 'park' in 'pick'",
            "recorded 'tray' in 'pick'",
            "recorded 'above' in 'pick'",
            "added sequence 'pick'",
        ]
        then = await keeper.as_after(3)
        assert then is not None
        assert then.named("tray") is not None
        assert then.named("park") is None
        assert await keeper.as_after(99) is None


async def test_changes_of_one_sequence_are_those_that_it_shows(tmp_path: Path) -> None:
    async with kept(tmp_path) as keeper:
        await edited(keeper, *BEGIN, AddSequence("add-sequence", "water"))
        last = max((await keeper.now()).taught.sequences)
        await edited(keeper, Record("record", last))
        about = await keeper.changes(None, 10, last)
        assert [one.words for one in about] == [
            "recorded 'waypoint 3' in 'water'", "added sequence 'water'",
        ]  # fmt: skip
        assert [one.who for one in about] == [WHO, WHO]
        assert await keeper.changes(2, 10, 1) == (await keeper.changes(None, 10, 1))[-1:]


async def test_whoever_saw_an_older_revision_changes_nothing(tmp_path: Path) -> None:
    async with kept(tmp_path) as keeper:
        now = await edited(keeper, *BEGIN)
        for attempt in (
            keeper.edit(now.revision - 1, Remove("remove", 1, 0), WHO),
            keeper.undo(now.revision - 1),
            keeper.redo(now.revision + 1),
        ):
            with pytest.raises(Refused) as caught:
                await attempt
            assert caught.value.code == "taught-changed"
        assert await keeper.now() == now


async def test_what_cannot_be_and_what_changes_nothing_leave_no_trace(tmp_path: Path) -> None:
    async with kept(tmp_path) as keeper:
        now = await edited(keeper, *BEGIN)
        with pytest.raises(TaughtError):
            await keeper.edit(now.revision, Remove("remove", 1, 9), WHO)
        assert await keeper.edit(now.revision, Move("move", 1, 1, 1), WHO) == now
        assert len(await keeper.changes(None, 10, None)) == 3


async def test_numbers_of_what_was_undone_are_never_given_again(tmp_path: Path) -> None:
    async with kept(tmp_path) as keeper:
        now = await edited(keeper, *BEGIN)
        tray = max(now.taught.waypoints)
        now = await keeper.undo(now.revision)
        now = await keeper.edit(now.revision, Record("record", 1, None, "park"), WHO)
        assert tray not in now.taught.waypoints


@pytest.fixture(name="full_disk")
def disk_that_takes_nothing(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """SQLite says that it is full (sqlite.org/pragma.html: max_page_count)."""
    add = taught.add

    def full(connection: Connection, *arguments: object, **named: object) -> int:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")
        try:
            words = "x" * 100_000
            return add(connection, *arguments, **{**named, "words": words})  # type: ignore[arg-type]
        finally:
            connection.exec_driver_sql("PRAGMA max_page_count = 1000000")

    monkeypatch.setattr(taught, "add", full)
    yield
    monkeypatch.undo()


async def test_a_disk_that_is_full_at_record_changes_nothing_and_is_told(
    tmp_path: Path, full_disk: None
) -> None:
    async with kept(tmp_path) as keeper:
        with pytest.raises(StoreError, match="no space left"):
            await keeper.edit(0, AddSequence("add-sequence", "pick"), WHO)
        now = await keeper.now()
        assert (now.revision, now.taught, now.undo) == (0, Taught(), None)


async def test_what_the_database_holds_and_cannot_be_read_is_told_and_left(tmp_path: Path) -> None:
    async with kept(tmp_path) as keeper:
        await edited(keeper, *BEGIN)
    store = Store(tmp_path)
    await store.write(
        lambda connection: connection.exec_driver_sql("UPDATE taught SET content = '{}}'")
    )
    keeper = TaughtKeeper(store, ARM, dict)
    with pytest.raises(StoreError, match="holds as taught cannot be read"):
        await keeper.now()
    await store.close()


async def test_what_holds_is_what_all_changes_come_to(tmp_path: Path) -> None:
    chance = Random(1)
    async with kept(tmp_path) as keeper:
        now = await edited(keeper, AddSequence("add-sequence", "long"))
        for _ in range(300):
            now = await keeper.edit(
                now.revision, Record("record", 1, chance.randint(0, len(now.taught.waypoints))), WHO
            )
        assert len(now.taught.sequences[1].visits) == 300
        last = (await keeper.changes(None, 1, None))[0]
        assert await keeper.as_after(last.id) == now.taught


async def test_sequence_edited_last_is_it_still_after_many_changes_of_programs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coordinator.records.taught.LOOKED_BACK", 3)
    async with kept(tmp_path) as keeper:
        await edited(
            keeper, *BEGIN, AddSequence("add-sequence", "later"), Record("record", 1, None, "tip"),
            *(KeepProgram("keep-program", f"({number})", f"p{number}") for number in range(5)),
        )  # fmt: skip
        assert (await keeper.now()).newest_sequence == 1
