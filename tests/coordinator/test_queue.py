"""The queue: what may become of it as a value, and that the shell plays it as that says."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Iterator
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any, cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.answers.queue import EntryState, Queue
from coordinator.codes.level import Level
from coordinator.codes.outcome import Outcome
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused
from coordinator.core.run.report import Report
from coordinator.playing import queue as rules
from coordinator.playing.queue_player import QueuePlayer
from coordinator.playing.runs import Runs, Wanted
from coordinator.programs import Problem, ProgramError
from coordinator.programs.options import AS_WRITTEN, PlayOptions
from coordinator.programs.progress import Tell
from coordinator.records.taught import TaughtKeeper
from coordinator.store import Store
from coordinator.teaching.known import NoSuch


def queued(*names: str) -> Queue:
    queue = rules.NOTHING
    for taught, name in enumerate(names, 1):
        queue = rules.edited(queue, rules.AddEntry(taught), name)
    return queue


def names(queue: Queue) -> list[str]:
    return [one.name for one in queue.entries]


# ---- the value ------------------------------------------------------------------------------


def test_entries_are_added_moved_removed_and_given_options() -> None:
    queue = queued("a", "b", "c")
    assert names(rules.edited(queue, rules.MoveEntry("move", 3, 0))) == ["c", "a", "b"]
    assert names(rules.edited(queue, rules.RemoveEntry("remove", 2))) == ["a", "c"]
    how = PlayOptions(loops=5, optional_stop=True)
    looped = rules.edited(queue, rules.SetOptions(2, how))
    assert [one.options for one in looped.entries] == [AS_WRITTEN, how, AS_WRITTEN]
    assert looped.revision == queue.revision + 1
    with pytest.raises(Refused, match="there is no entry 9 in the queue"):
        rules.edited(queue, rules.RemoveEntry("remove", 9))
    full = replace(queue, entries=queue.entries * 34)
    with pytest.raises(Refused, match="the queue has 100 entries, the most it may have"):
        rules.edited(full, rules.AddEntry(1), "a")


def test_while_it_plays_only_what_waits_can_be_removed() -> None:
    queue = rules.turn_of(rules.begun(queued("a", "b")), 1, "a")
    for edit in (
        rules.AddEntry(1), rules.MoveEntry("move", 2, 0),
        rules.SetOptions(2, PlayOptions(3)), rules.RemoveEntry("remove", 1),
    ):  # fmt: skip
        with pytest.raises(Refused) as refused:
            rules.edited(queue, edit, "x")
        assert refused.value.code == RefusalCode.QUEUE_PLAYING
    assert names(rules.edited(queue, rules.RemoveEntry("remove", 2))) == ["a"]


def test_what_is_said_of_its_end_goes_with_the_next_edit() -> None:
    queue = rules.over(rules.turn_of(rules.begun(queued("a", "b")), 1, "a"), 1, Outcome.STOPPED, "")
    edits: list[rules.QueueEdit] = [
        rules.AddEntry(1), rules.MoveEntry("move", 2, 0), rules.RemoveEntry("remove", 2),
        rules.SetOptions(2, PlayOptions(3)),
    ]  # fmt: skip
    assert queue.message
    for edit in edits:
        assert rules.edited(queue, edit, "x").message == ""


def test_a_queue_is_cleared_unless_it_is_being_played() -> None:
    cleared = rules.edited(queued("a", "b"), rules.ClearQueue("clear"))
    assert (cleared.entries, cleared.revision) == ((), 3)
    with pytest.raises(Refused, match="the queue is being played"):
        rules.edited(rules.begun(queued("a")), rules.ClearQueue("clear"))


def test_why_an_entry_that_is_played_or_was_cannot_be_removed_is_said_in_words() -> None:
    queue = rules.turn_of(rules.begun(queued("a", "b", "c")), 1, "a")
    with pytest.raises(Refused, match="a is being played: while the queue is played only"):
        rules.edited(queue, rules.RemoveEntry("remove", 1))
    queue = rules.over(queue, 1, Outcome.FINISHED, "")
    with pytest.raises(Refused, match="a has finished: while the queue is played"):
        rules.edited(queue, rules.RemoveEntry("remove", 1))


def test_an_entry_tells_why_it_did_not_finish_until_it_is_changed_or_played_again() -> None:
    queue = rules.turn_of(rules.begun(queued("a", "b")), 1, "a")
    ended = rules.over(queue, 1, Outcome.STOPPED, "the operator asked")
    why = "its run was stopped: the operator asked"
    assert [one.why for one in ended.entries] == [why, None]
    assert rules.taken_up(asdict(ended)).entries == ended.entries
    assert rules.edited(ended, rules.SetOptions(1, PlayOptions(3))).entries[0].why is None
    assert rules.begun(ended).entries[0].why is None
    refused = rules.refused(queued("a", "b"), 1, "elbow is not homed")
    assert [(one.state, one.why) for one in refused.entries] == [
        (EntryState.WAITS, "elbow is not homed"), (EntryState.WAITS, None),
    ]  # fmt: skip
    assert not refused.playing


def test_an_empty_queue_or_one_that_plays_cannot_begin() -> None:
    with pytest.raises(Refused, match="empty"):
        rules.begun(rules.NOTHING)
    with pytest.raises(Refused, match="already"):
        rules.begun(rules.begun(queued("a")))


@pytest.mark.parametrize("outcome", [one for one in Outcome if one is not Outcome.FINISHED])
def test_any_end_but_finished_ends_the_queue_with_the_cause(outcome: Outcome) -> None:
    queue = rules.running(rules.turn_of(rules.begun(queued("a", "b")), 1, "a"), 1, 7)
    after = rules.over(queue, 1, outcome, "the operator asked")
    assert not after.playing
    assert after.message == (
        f"the queue ended at 1 of 2, a: its run was {outcome}: the operator asked"
    )
    assert [one.state for one in after.entries] == [EntryState.ENDED, EntryState.WAITS]
    assert rules.begun(after).message == ""


def test_after_a_restart_nothing_goes_on_by_itself() -> None:
    queue = rules.running(rules.turn_of(rules.begun(queued("a", "b")), 1, "a"), 1, 7)
    after = rules.taken_up(asdict(queue))
    assert not after.playing
    assert after.message == rules.ENDED_WITH_COORDINATOR
    assert [one.state for one in after.entries] == [EntryState.ENDED, EntryState.WAITS]
    at_rest = queued("a")
    assert rules.taken_up(asdict(at_rest)) == at_rest
    spoilt: Any
    wrong = [{**asdict(at_rest.entries[0]), "options": {"loops": 0}}]
    for spoilt in (
        [], {}, {"entries": [{}]}, asdict(queue) | {"revision": "x"},
        asdict(at_rest) | {"entries": wrong},
    ):  # fmt: skip
        with pytest.raises(ValueError, match=r"queue|int|loops is 0"):
            rules.taken_up(spoilt)


def test_an_entry_that_was_kept_before_entries_had_options_keeps_its_loops() -> None:
    queue = queued("a")
    kept = asdict(queue)
    del kept["entries"][0]["options"]
    kept["entries"][0]["loops"] = 3
    assert rules.taken_up(kept).entries[0].options == PlayOptions(3)


@given(st.lists(st.sampled_from(["begin", "over", "fail", "add", "remove"]), max_size=30))
def test_whatever_happens_at_most_one_entry_plays_and_none_behind_one_that_ended(
    happens: list[str],
) -> None:
    queue, played = queued("a", "b", "c"), 0
    for what in happens:
        playing = next((one for one in queue.entries if one.state is EntryState.PLAYS), None)
        with contextlib.suppress(Refused):
            match what:
                case "add":
                    queue = rules.edited(queue, rules.AddEntry(9), "x")
                case "remove" if queue.entries:
                    last = queue.entries[-1].id
                    queue = rules.edited(queue, rules.RemoveEntry("remove", last))
                case "begin":
                    queue = rules.begun(queue)
                case "over" | "fail" if playing is not None:
                    outcome = Outcome.FINISHED if what == "over" else Outcome.STOPPED
                    queue = rules.over(queue, playing.id, outcome, "")
        following = rules.next_of(queue)
        if (
            queue.playing
            and following
            and not any(one.state is EntryState.PLAYS for one in queue.entries)
        ):
            queue, played = rules.turn_of(queue, following.id, following.name), played + 1
        states = [one.state for one in queue.entries]
        assert states.count(EntryState.PLAYS) == (1 if queue.playing else 0)
        if EntryState.ENDED in states:
            assert not queue.playing
            assert all(one.why for one in queue.entries if one.state is EntryState.ENDED)
        assert len({one.id for one in queue.entries}) == len(queue.entries)


# ---- the shell ------------------------------------------------------------------------------


@dataclass(slots=True)
class Arm:
    """Runs, what is kept and what is told, without an arm: a test ends each run."""

    refused: dict[str, Exception] = field(default_factory=dict)
    consented: int = 0
    halts: int = 0
    control: bool = True
    wanted: list[Wanted] = field(default_factory=list)
    reports: dict[int, Report] = field(default_factory=dict)
    ends: dict[int, asyncio.Event] = field(default_factory=dict)
    announced: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)

    async def text_of(self, number: int) -> tuple[str, str]:
        if number > 5:
            raise NoSuch(f"there is no sequence and no program {number}")
        return f"program {number}", f"G0 A{number}\nM2\n"

    async def play(self, wanted: Wanted, has_left: Any, who: str, halts: int, _tell: Tell) -> int:
        await has_left()
        if wanted.name in self.refused:
            raise self.refused[wanted.name]
        if halts != self.halts:
            raise Refused(RefusalCode.HALTED, "a hold or stop was asked for before it began")
        self.consented = halts
        self.wanted.append(wanted)
        run = len(self.wanted)
        self.reports[run] = Report(run, wanted.name, (), 0, wanted.options.often)
        self.ends[run] = asyncio.Event()
        return run

    async def over(self, run: int) -> Report:
        await self.ends[run].wait()
        return self.reports[run]

    def end(self, run: int, outcome: Outcome = Outcome.FINISHED, why: str = "") -> None:
        self.reports[run].turned(outcome, why)
        self.ends[run].set()

    def announce(self, what: str) -> None:
        self.announced.append(what)

    def tell(self, level: Level, code: str, message: str) -> None:
        self.told.append(f"{level} {code}: {message}")

    # As the client for which it plays.
    name: str = "a page"

    @contextlib.contextmanager
    def commanding(self) -> Iterator[None]:
        if not self.control:
            raise Refused(RefusalCode.CONTROL, "a script has control")
        yield

    async def has_left(self) -> bool:
        return False


def player_on(store: Store, arm: Arm) -> QueuePlayer:
    return QueuePlayer(store, cast(Runs, arm), cast(TaughtKeeper, arm), arm)


@pytest.fixture(name="store")
async def opened(tmp_path: Path) -> AsyncIterator[Store]:
    store = Store(tmp_path)
    yield store
    await store.close()


HOW = {
    1: AS_WRITTEN, 2: PlayOptions(2, optional_stop=True, block_delete=True), 3: PlayOptions(3),
}  # fmt: skip


async def begun_with(store: Store, arm: Arm, *entries: int) -> QueuePlayer:
    player = player_on(store, arm)
    for revision, taught in enumerate(entries):
        await player.edit(revision, rules.AddEntry(taught, HOW[taught]))
    await player.play(len(entries), arm, arm.halts, arm.has_left)
    return player


async def settled(player: QueuePlayer) -> Queue:
    assert player._task is not None
    await player._task
    return player.queue


async def until_run(arm: Arm, run: int) -> None:
    async with asyncio.timeout(60):
        while run not in arm.ends:
            await asyncio.sleep(0)


async def test_entries_are_played_one_after_another_each_as_it_says(
    store: Store,
) -> None:
    arm = Arm()
    player = await begun_with(store, arm, 1, 2)
    assert arm.announced[-1] == "program 2, next in the queue"
    assert [one.run for one in player.queue.entries] == [1, None]
    arm.end(1)
    await until_run(arm, 2)
    assert arm.announced[-1] == "", "nothing comes behind the last"
    arm.end(2)
    queue = await settled(player)
    assert [(one.name, one.options, one.taught) for one in arm.wanted] == [
        ("program 1", HOW[1], 1), ("program 2", HOW[2], 2),
    ]  # fmt: skip
    assert [one.state for one in queue.entries] == [EntryState.FINISHED] * 2
    assert (queue.playing, queue.message) == (False, "")
    assert arm.told == [
        "info queue-began: a page plays the queue: 2 entries",
        "info queue-ended: the queue is played to its end",
    ]


async def test_a_run_that_is_stopped_ends_it_and_nothing_further_begins(store: Store) -> None:
    arm = Arm()
    player = await begun_with(store, arm, 1, 2)
    arm.end(1, Outcome.STOPPED, "the operator asked")
    queue = await settled(player)
    assert queue.message == (
        "the queue ended at 1 of 2, program 1: its run was stopped: the operator asked"
    )
    assert len(arm.wanted) == 1
    assert arm.announced[-1] == ""
    assert arm.told[-1] == f"attention queue-ended: {queue.message}"


async def test_a_hold_that_nobody_resumed_keeps_the_next_from_beginning(store: Store) -> None:
    arm = Arm()
    player = await begun_with(store, arm, 1, 2)
    arm.halts += 1  # between two entries, or as the last of a run was done
    arm.end(1)
    queue = await settled(player)
    assert queue.message == (
        "the queue ended at 2 of 2, program 2: a hold or stop was asked for before it began"
    )


async def test_what_is_refused_when_its_turn_comes_ends_it_with_the_cause(store: Store) -> None:
    arm = Arm(refused={"program 2": Refused(RefusalCode.NOT_HOMED, "elbow is not homed")})
    player = await begun_with(store, arm, 1, 2)
    arm.end(1)
    assert (await settled(player)).message.endswith("program 2: elbow is not homed")
    other = Arm()
    player = player_on(store, other)
    await player.play((await player.now()).revision, other, 0, other.has_left)
    other.control = False
    other.end(1)
    assert (await settled(player)).message.endswith("program 2: a script has control")


async def test_where_the_first_is_refused_the_queue_has_not_begun(store: Store) -> None:
    arm = Arm(refused={"program 1": Refused(RefusalCode.NOT_HOMED, "elbow is not homed")})
    with pytest.raises(Refused, match="elbow is not homed"):
        await begun_with(store, arm, 1, 2)
    await store.confirmed(lambda _connection: None)  # what is before it is on the disk then
    queue = await player_on(store, arm).now()
    assert not queue.playing
    assert [one.state for one in queue.entries] == [EntryState.WAITS] * 2
    assert [one.why for one in queue.entries] == ["elbow is not homed", None]
    assert arm.told == []


async def test_a_mistake_in_an_entry_names_the_entry_and_its_program(store: Store) -> None:
    mistakes = [Problem(1, 4, "A9 is out of its range"), Problem(2, 1, "G5 is no word")]
    arm = Arm(refused={"program 1": ProgramError(mistakes)})
    with pytest.raises(ProgramError) as caught:
        await begun_with(store, arm, 1, 2)
    assert caught.value.of == "program 1, entry 1 of the queue,"
    assert list(caught.value.problems) == mistakes
    await store.confirmed(lambda _connection: None)
    why = "line 1, column 4: A9 is out of its range; and 1 more mistake"
    assert (await player_on(store, arm).now()).entries[0].why == why
    later = Arm(refused={"program 2": ProgramError(mistakes)})
    player = player_on(store, later)
    await player.play((await player.now()).revision, later, 0, later.has_left)
    later.end(1)
    queue = await settled(player)
    assert queue.message == f"the queue ended at 2 of 2, program 2: {why}"
    assert queue.entries[1].why == why


async def test_an_entry_that_waits_can_be_removed_while_one_plays(store: Store) -> None:
    arm = Arm()
    player = await begun_with(store, arm, 1, 2, 3)
    await player.edit(3, rules.RemoveEntry("remove", 2))
    assert arm.announced[-1] == "program 3, next in the queue"
    with pytest.raises(Refused, match="changed meanwhile"):
        await player.edit(3, rules.RemoveEntry("remove", 3))
    await player.edit(4, rules.RemoveEntry("remove", 3))
    assert arm.announced[-1] == ""
    arm.end(1)
    assert names(await settled(player)) == ["program 1"]
    assert len(arm.wanted) == 1


async def test_the_queue_outlives_its_coordinator_and_does_not_go_on(store: Store) -> None:
    arm = Arm()
    player = await begun_with(store, arm, 1, 2)
    await player.close()
    await store.confirmed(lambda _connection: None)  # what is before it is on the disk then
    after = await player_on(store, arm).now()
    assert not after.playing
    assert after.message == rules.ENDED_WITH_COORDINATOR
    assert names(after) == ["program 1", "program 2"]
    assert len(arm.wanted) == 1


async def test_what_is_not_kept_cannot_be_queued(store: Store) -> None:
    with pytest.raises(NoSuch, match="there is no sequence and no program 9"):
        await player_on(store, Arm()).edit(0, rules.AddEntry(9))
