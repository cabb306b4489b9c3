"""The journal, homings, acknowledgements and settings in real databases."""

from pathlib import Path
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from sqlalchemy import Connection, Engine

from coordinator.store import Store, acknowledgements, events, homings, settings
from tests.coordinator.store.test_runs import TEXTS, VALUES

UTC = "2026-05-01T10:00:00+00:00"


def add(connection: Connection, message: str, **more: Any) -> int:
    values = {"utc": UTC, "at_us": 5, "level": "info", "code": "homed", **more}
    return events.add(connection, message=message, **values)


async def test_events_are_told_newest_first_a_page_at_a_time(store: Store) -> None:
    for message in "abcde":
        await store.write(lambda connection, message=message: add(connection, message))  # type: ignore[misc]

    def page(before: int | None, limit: int) -> Any:
        return store.read(lambda connection: events.newest(connection, before, limit))

    first = await page(None, 2)
    assert [one["message"] for one in first] == ["e", "d"]
    second = await page(first[-1]["id"], 2)
    assert [one["message"] for one in second] == ["c", "b"]
    assert [one["message"] for one in await page(second[-1]["id"], 2)] == ["a"]
    assert await page(1, 500) == []
    assert first[0] == {
        "id": 5, "utc": UTC, "at_us": 5, "level": "info", "code": "homed", "message": "e",
        "joint": None, "who": None, "detail": False,
    }  # fmt: skip


async def test_events_that_are_details_are_told_only_to_who_asks_for_them(store: Store) -> None:
    for message, detail in (("a", False), ("b", True), ("c", True), ("d", False)):
        await store.write(
            lambda connection, kept=(message, detail): add(connection, kept[0], detail=kept[1])  # type: ignore[misc]
        )

    async def page(before: int | None, limit: int, *, details: bool) -> list[str]:
        found = await store.read(
            lambda connection: events.newest(connection, before, limit, details=details)
        )
        return [one["message"] for one in found]

    assert await page(None, 2, details=False) == ["d", "a"]
    assert await page(None, 3, details=True) == ["d", "c", "b"]
    assert await page(4, 2, details=False) == ["a"]


async def test_lines_of_a_run_are_those_from_its_command_to_its_end_or_the_next_beginning(
    store: Store,
) -> None:
    for code, message, at_us in (
        ("command-play", "play a, run 2, run 1", 10), ("homed", "between", 11),
        ("command-play", "play b.nc, run 2", 20), ("held", "held", 25), ("late", "late", 40),
        ("coordinator-started", "the coordinator started", 1), ("homed", "of another", 22),
    ):  # fmt: skip
        await store.write(
            lambda connection, code=code, message=message, at_us=at_us: add(  # type: ignore[misc]
                connection, message, code=code, at_us=at_us
            )
        )
    await store.write(lambda connection: add(connection, "a part", detail=True))

    async def lines(run: int, until_us: int | None, limit: int = 9) -> list[str] | None:
        found = await store.read(lambda connection: events.of_run(connection, run, until_us, limit))
        return None if found is None else [one["message"] for one in found]

    assert await lines(1, None) == ["play a, run 2, run 1", "between"]
    assert await lines(2, 30) == ["play b.nc, run 2", "held"]
    assert await lines(2, None) == ["play b.nc, run 2", "held", "late"]
    assert await lines(2, None, limit=1) == ["play b.nc, run 2"]
    assert await lines(3, None) is None


async def test_homing_grows_and_one_that_was_cut_short_has_failed(
    tmp_path: Path, database: str | None
) -> None:
    store = Store(tmp_path, database=database)
    assert store.last_homing == 0
    going = {"number": 1, "state": "running", "message": "", "current": "tip", "joints": {}}
    done = {**going, "number": 2, "state": "done", "current": None}
    edges = {**done, "joints": {"tip": {"edges": [1, 2, 3]}}}
    later = "2026-05-01T10:00:07+00:00"
    for result, utc in ((going, UTC), ({**done, "state": "running"}, UTC), (done, UTC),
                        (edges, later)):  # fmt: skip
        await store.write(lambda connection, kept=(result, utc): homings.save(connection, *kept))  # type: ignore[misc]
    await store.close()
    store = Store(tmp_path, database=database)
    assert store.last_homing == 2
    cut = await store.read(lambda connection: homings.load(connection, 1))
    assert cut is not None
    assert (cut["state"], cut["current"]) == ("failed", None)
    assert "coordinator ended" in cut["message"]
    assert store.cut_short == [f"homing 1: {cut['message']}"]
    assert await store.read(lambda connection: homings.load(connection, 2)) == edges
    assert await store.read(lambda connection: homings.load(connection, 3)) is None
    rows = await store.read(
        lambda connection: connection.exec_driver_sql(
            "SELECT began_utc, ended_utc FROM homings WHERE number = 2"
        ).all()
    )
    assert [tuple(row) for row in rows] == [(UTC, UTC)]  # late edges do not move the end
    await store.close()


async def test_acknowledgement_says_who_and_when(store: Store) -> None:
    ids = [
        await store.write(
            lambda connection, who=who: acknowledgements.add(connection, "elbow is warm", who)  # type: ignore[misc]
        )
        for who in ("the phone", "a script")
    ]
    kept = await store.read(acknowledgements.every)
    assert [one["id"] for one in kept] == ids
    assert [(one["warning"], one["who"]) for one in kept] == [
        ("elbow is warm", "the phone"), ("elbow is warm", "a script"),
    ]  # fmt: skip
    assert all(one["utc"].endswith("+00:00") for one in kept)


KEYS = TEXTS.filter(lambda key: key != "never chosen")


@given(written=st.dictionaries(KEYS, VALUES, max_size=4), message=TEXTS, who=st.none() | TEXTS)
def test_settings_and_events_come_back_as_they_were(
    written: dict[str, Any], message: str, who: str | None, engine: Engine
) -> None:
    with engine.begin() as connection:
        for key, value in written.items():
            settings.put(connection, key, 0)
            settings.put(connection, key, value)
        number = add(connection, message, who=who)
    with engine.begin() as connection:
        assert {key: settings.get(connection, key) for key in written} == written
        assert settings.get(connection, "never chosen") is None
        (event,) = events.newest(connection, None, 1)
        assert (event["id"], event["message"], event["who"]) == (number, message, who)
