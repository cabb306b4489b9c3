"""`unisono queue`: what it asks for and tells, and Ctrl-C between two entries."""

import json
from dataclasses import asdict, replace

import pytest

from coordinator.cli.play_options import changed
from coordinator.cli.queue import _next_run
from coordinator.cli.watch import Interrupts
from coordinator.client import Client
from coordinator.programs.options import AS_WRITTEN, PlayOptions
from tests.coordinator.cli.here import Unisono, unisono_here
from tests.coordinator.cli.servers import ARM, CONTROL, GOING, Answer, served

REFUSED = {
    "type": "urn:unisono:problem:not-moving", "title": "Conflict", "status": 409,
    "detail": "nothing moves that could be held",
}  # fmt: skip


def test_ctrl_c_between_entries_holds_then_stops_and_is_refused_in_peace() -> None:
    pressed, asked = Interrupts(), list[str]()

    def answer(path: str, _body: bytes) -> Answer:
        path = path.removeprefix("/api/v1")
        kind = {"Content-Type": "application/json"}
        if path != "/queue":
            asked.append(path)
            return 409, kind | {"Content-Type": "application/problem+json"}, refused
        pressed.press()
        told = {"revision": 1, "entries": [], "playing": len(asked) < 3, "message": ""}
        return 200, kind, json.dumps(told).encode()

    refused = json.dumps(REFUSED).encode()
    with served(answer) as url, Client(url) as client:
        assert _next_run(client, 1, pressed) is None
    assert asked == ["/hold", "/stop", "/stop"]


@pytest.fixture(name="unisono")
def _unisono(capsys: pytest.CaptureFixture[str]) -> Unisono:
    return unisono_here(capsys)


def options(**members: object) -> dict[str, object]:
    return asdict(AS_WRITTEN) | members


def told(*entries: dict[str, object], message: str = "") -> dict[str, object]:
    return {"revision": 3, "entries": list(entries), "playing": False, "message": message}


def entry(number: int, **members: object) -> dict[str, object]:
    usual = {"id": number, "taught": number, "name": f"tray {number}", "options": options()}
    return {**usual, "state": "waits", "run": None, "why": None, **members}


ENDS = "'unisono stop' ends the run"


class Queued:
    """A coordinator that keeps what it was asked."""

    def __init__(
        self,
        queue: dict[str, object],
        play: Answer | None = None,
        run: dict[str, object] | None = None,
    ) -> None:
        self.queue, self.play, self.run = queue, play, run
        self.edits: list[dict[str, object]] = []

    def __call__(self, path: str, body: bytes) -> Answer:
        path = path.removeprefix("/api/v1").partition("?")[0]
        kind = {"Content-Type": "application/json"}
        if path == "/queue/play":
            assert self.play is not None
            return self.play
        if path == "/queue/edits":
            self.edits.append(json.loads(body)["edit"])
        answer = {"/arm": ARM, "/runs/7": self.run, "/control": CONTROL}.get(path, self.queue)
        return 200, kind, json.dumps(answer).encode()


def test_what_queue_set_does_not_name_stays_as_it_is(unisono: Unisono) -> None:
    asked = Queued(told(entry(1, options=options(from_line=7, optional_stop=True))))
    with served(asked) as url:
        assert unisono("queue", "set", "1", "--loops", "3", "--url", url).code == 0
        assert unisono("queue", "set", "1", "--minutes", "2", "--url", url).code == 0
        assert unisono("queue", "set", "1", "--url", url).code == 0
    assert [edit["options"] for edit in asked.edits] == [
        {"loops": 3, "from_line": 7, "optional_stop": True},
        {"for_s": 120.0, "from_line": 7, "optional_stop": True},
        {},
    ]


def test_a_time_replaces_loops_and_loops_a_time() -> None:
    before = PlayOptions(loops=3, check_edges=True, from_line=4)
    timed = changed(before, PlayOptions(for_s=60.0))
    assert timed == PlayOptions(for_s=60.0, check_edges=True, from_line=4)
    assert changed(timed, PlayOptions(loops=2)) == replace(before, loops=2)
    with pytest.raises(ValueError, match="only one loop"):
        changed(before, PlayOptions(loops=1))


def test_a_queue_is_cleared_after_a_yes_and_else_as_it_was(unisono: Unisono) -> None:
    asked = Queued(told(entry(1), entry(2)))
    with served(asked) as url:
        refused = unisono("queue", "clear", "--url", url)
        assert (refused.code, asked.edits) == (2, [])
        assert "queue clear asks for a yes in a terminal; without one give --yes" in refused.err
        assert unisono("queue", "clear", "--yes", "--url", url).code == 0
    assert asked.edits == [{"type": "clear"}]


def test_a_mistake_names_the_entry_and_its_program_and_show_tells_it(unisono: Unisono) -> None:
    problem = {
        "type": "urn:unisono:problem:program", "title": "Unprocessable Content", "status": 422,
        "detail": "tray 1, entry 1 of the queue, has 1 mistake",
        "errors": [{"line": 1, "column": 4, "message": "A999 is out of its range"}],
    }  # fmt: skip
    wrong = 422, {"Content-Type": "application/problem+json"}, json.dumps(problem).encode()
    why = "line 1, column 4: A999 is out of its range"
    with served(Queued(told(entry(1, why=why)), wrong)) as url:
        played = unisono("queue", "play", "--url", url)
        assert played.code == 2
        assert "entry 1 of the queue, tray 1:1:4: A999 is out of its range" in played.err
        shown = unisono("queue", "show", "--url", url).out
    assert shown == f"1. tray 1: waits, did not begin: {why}\n"


@pytest.mark.parametrize(
    ("phase", "told_of_it", "end"),
    [
        (
            "held",
            "held, run 7",
            "stands held: 'unisono resume' goes on, 'unisono stop' ends the run",
        ),
        ("moving", "plays, run 7", "is being played"),
    ],
)
def test_a_queue_whose_run_is_held_says_so_and_how_it_goes_on(
    unisono: Unisono, phase: str, told_of_it: str, end: str
) -> None:
    queue = told(entry(1, state="plays", run=7), entry(2)) | {"playing": True}
    run = GOING | {"run": 7, "number": 7, "phase": phase, "behind_us": {}, "obstacle": None}
    with served(Queued(queue, run=run)) as url:
        shown = unisono("queue", "show", "--url", url).out
    first, second, last = shown.splitlines()
    assert (first, second) == (f"1. tray 1: {told_of_it}", "2. tray 2: waits")
    assert last.endswith(end)
