"""Both clients: the same methods, values and errors; the coordinator is a stand-in."""

import asyncio
import inspect
import json
import socket
import subprocess
import sys
import threading
from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any

import pytest

from coordinator.answers.joint_history import Readings
from coordinator.api.responses.base import plain
from coordinator.api.responses.joint_history import HISTORY, WEAR
from coordinator.api.responses.program import CURVES
from coordinator.api.responses.taught import TAUGHT
from coordinator.client import (
    AsyncClient,
    Client,
    ClientError,
    Closed,
    HomingFailed,
    NobodyThere,
    NotFinished,
    NotUnderstood,
    OtherLoop,
    PlayOptions,
    Refused,
    RunHeld,
    RunNotFinished,
    Switches,
    Unreachable,
    WrongInput,
)
from coordinator.client.values import Problem
from coordinator.programs.progress import Progress, Stage
from tests.coordinator.cli.servers import ARM, CHECKED, ENDED, GOING, HOMED, REPORTED, joint, served
from tests.coordinator.cli.test_startup import HEAVY
from tests.coordinator.client.asked import Coordinator, blocking, in_a_loop, told

Ask = Callable[..., Any]


@pytest.fixture(name="ask", params=[blocking, in_a_loop])
def one_of_both_clients(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Ask:
    """A client that waits for nothing as long as people do."""
    monkeypatch.setattr("coordinator.client.questions.patience.LOOK_S", 0.0)
    monkeypatch.setattr("coordinator.client.questions.journal.LISTEN_S", 0.0)
    ask: Ask = request.param
    return ask


def public(kind: type) -> dict[str, Any]:
    return {name: one for name, one in inspect.getmembers(kind) if not name.startswith("_")}


def test_both_clients_have_the_same_methods_with_the_same_arguments_and_words() -> None:
    waiting, looping = public(Client), public(AsyncClient)
    assert waiting.keys() == looping.keys()
    for name, method in waiting.items():
        if callable(method):
            assert inspect.getdoc(method), name
            mine, its = (list(inspect.signature(one).parameters) for one in (method, looping[name]))
            assert mine == its, name


def test_the_one_that_waits_does_so_where_an_event_loop_runs(ask: Ask) -> None:
    async def in_a_notebook(url: str) -> Any:
        return blocking(url, "arm")

    with served(Coordinator({"/arm": [ARM]})) as url:
        assert ask(url, "arm").arm == "an arm"
        assert asyncio.run(in_a_notebook(url)).arm == "an arm"


def test_what_is_told_comes_as_values(ask: Ask) -> None:
    arm = ARM | {"joints": [joint("base"), joint("tip", position_deg=None)]}
    answers: dict[str, list[Any]] = {
        "/arm": [arm],
        "/warnings": [{"warnings": []}],
        "/control": [{"holder": None, "you": "me", "watchers": 2}],
        "/runs": [{"runs": []}],
        "/arm/file": [(200, {"Content-Type": "text/plain"}, b"name = 'an arm'\n")],
    }
    with served(Coordinator(answers)) as url:
        joints = ask(url, "joints")
        assert list(joints) == ["base", "tip"]
        assert (joints["base"].position_deg, joints["tip"].position_deg) == (31.42, None)
        assert ask(url, "warnings") == ()
        assert ask(url, "control").watchers == 2
        assert ask(url, "last_run") is None
        assert ask(url, "arm_file") == "name = 'an arm'\n"


# ---- errors -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("status", "code", "kind"),
    [
        (401, "token", Refused),
        (403, "role", Refused),
        (404, "not-found", WrongInput),
        (409, "not-homed", Refused),
        (422, "joint-unknown", WrongInput),
        (422, "invalid", WrongInput),
        (429, "rate", Refused),
        (500, "internal", Unreachable),
        (503, "busy", Refused),
        (503, "store", Refused),
    ],
)
def test_a_problem_is_an_error_of_its_kind_with_its_code_and_sentence(
    ask: Ask, status: int, code: str, kind: type[ClientError]
) -> None:
    problem = {"type": f"urn:unisono:problem:{code}", "status": status, "detail": "it is so"}
    with (
        served(Coordinator({"/resume": [told(problem, status)]})) as url,
        pytest.raises(kind, match="it is so") as error,
    ):
        ask(url, "resume")
    assert type(error.value) is kind
    assert error.value.code == code


def test_a_programs_mistakes_come_with_their_places(ask: Ask) -> None:
    errors = [{"line": 2, "column": 4, "message": "Q5 is not known"}]
    problem = {"type": "urn:unisono:problem:program", "detail": "one mistake", "errors": errors}
    with (
        served(Coordinator({"/runs": [told(problem, 422)]})) as url,
        pytest.raises(WrongInput) as error,
    ):
        ask(url, "play", "a.nc", "G0 Q5\nM2\n")
    assert error.value.mistakes == (Problem(2, 4, "Q5 is not known"),)
    assert error.value.code == "program"


def test_what_keeps_a_program_from_being_a_sequence_is_told_and_raises_nothing(ask: Ask) -> None:
    errors = [{"line": 2, "column": 1, "message": "a sequence has no pause M0"}]
    coordinator = Coordinator({"/taught/check": [{"errors": errors}, {"errors": []}]})
    with served(coordinator) as url:
        assert ask(url, "check_sequence", "G0 A1\nM0\n") == (
            Problem(2, 1, "a sequence has no pause M0"),
        )
        assert ask(url, "check_sequence", "M2\n") == ()
    assert coordinator.asked == [
        ("/taught/check", {"text": "G0 A1\nM0\n"}), ("/taught/check", {"text": "M2\n"}),
    ]  # fmt: skip


def test_an_answer_that_lacks_what_is_needed_names_it_and_one_with_more_is_as_good(
    ask: Ask,
) -> None:
    older, newer = ARM | {"joints": [joint("base")]}, ARM | {"mood": "fine"}
    del older["joints"][0]["link"]
    with served(Coordinator({"/arm": [newer, older]})) as url:
        assert ask(url, "arm").condition.word == "at rest"
        with pytest.raises(NotUnderstood, match=r"joints\.0\.link is missing") as error:
            ask(url, "arm")
    assert error.value.member == "joints.0.link"
    assert isinstance(error.value, Unreachable)


def test_of_an_older_coordinator_nothing_is_known_of_hops_and_position_errors(ask: Ask) -> None:
    history, wear = plain(HISTORY), plain(WEAR)
    del history["hop_ohm"], history["position_error_deg"], wear["hop"]
    since = datetime(2026, 4, 12, tzinfo=UTC)
    path = "/joints/elbow/wear?from=2026-04-12T00%3A00%3A00%2B00%3A00"
    answers = {"/joints/elbow/history?points=9": [history], path: [wear, plain(WEAR)]}
    with served(Coordinator(answers)) as url:
        found = ask(url, "joint_history", "elbow", None, None, 9)
        assert found.hop_ohm == Readings((None, None), (None, None), (None, None), (0, 0))
        assert found.position_error_deg == found.hop_ohm
        assert ask(url, "joint_wear", "elbow", since).hop is None
        assert ask(url, "joint_wear", "elbow", since) == WEAR
        with pytest.raises(WrongInput, match=r"'from' is .* but must name its zone"):
            ask(url, "joint_wear", "elbow", datetime(2026, 4, 12))  # noqa: DTZ001


def test_nobody_somebody_who_hangs_and_a_stranger_are_told_apart(
    ask: Ask, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coordinator.client.asking.PATIENCE_S", 0.1)
    with pytest.raises(NobodyThere, match="no coordinator answers at"):
        ask("http://127.0.0.1:9", "arm")  # the discard port (RFC 863)
    assert not ask("http://127.0.0.1:9", "is_up")
    with socket.create_server(("127.0.0.1", 0)) as mute:
        url = f"http://127.0.0.1:{mute.getsockname()[1]}"
        with pytest.raises(Unreachable, match="hangs") as hangs:
            ask(url, "arm")
        with pytest.raises(Unreachable) as no_tls:
            ask(url.replace("http", "https"), "arm")
    for error in (hangs, no_tls):
        assert not isinstance(error.value, NobodyThere)
    with served(Coordinator({"/arm": [{"hello": 1}]})) as url:
        with pytest.raises(Unreachable, match=f"what answers at {url} is no coordinator"):
            ask(url, "arm")
        with pytest.raises(Unreachable, match="speaks no HTTPS"):
            ask(url.replace("http", "https"), "arm")


def test_what_keeps_a_connection_from_being_made_is_told_in_words(ask: Ask) -> None:
    with pytest.raises(NobodyThere) as error:
        ask("http://127.0.0.1:9", "arm")
    assert str(error.value) == (
        "no coordinator answers at http://127.0.0.1:9: nothing listens there; start one with "
        "'unisono serve'"
    )
    with pytest.raises(NobodyThere) as error:
        ask("http://nobody.invalid:9", "arm")  # a name that nobody has (RFC 6761 §6.4)
    assert str(error.value).startswith("no coordinator answers at http://nobody.invalid:9: ")
    assert "Errno" not in str(error.value)


def test_who_hangs_up_before_it_says_a_word_of_tls_is_somebody(ask: Ask) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:

        def hang_up() -> None:
            connection, _ = server.accept()
            connection.recv(1_000)
            connection.close()

        closing = threading.Thread(target=hang_up)
        closing.start()
        with pytest.raises(Unreachable) as error:
            ask(f"https://127.0.0.1:{server.getsockname()[1]}", "arm")
        closing.join()
    assert not isinstance(error.value, NobodyThere)


@pytest.mark.parametrize(
    ("method", "arguments", "says"),
    [
        ("stop", (), "nothing was stopped, and the arm may move: use the emergency stop"),
        ("hold", (), "the hold was not delivered, and the arm may move"),
    ],
)
def test_a_stop_that_is_not_delivered_says_that_first(
    ask: Ask, method: str, arguments: tuple[str, ...], says: str
) -> None:
    with pytest.raises(NobodyThere, match=f"^{says}"):
        ask("http://127.0.0.1:9", method, *arguments)


@pytest.mark.parametrize(
    ("method", "says"),
    [
        ("arm", "^the client of http://127.0.0.1:9 was closed: nothing was asked; make a new one$"),
        ("is_up", "^the client of"),
        ("stop", "^nothing was stopped, and the arm may move: .* was closed"),
        ("hold", "^the hold was not delivered, and the arm may move: .* was closed"),
    ],
)
def test_a_client_that_was_closed_says_so(ask: Ask, method: str, says: str) -> None:
    with pytest.raises(Closed, match=says):
        ask("http://127.0.0.1:9", method, closed=True)


def test_a_client_of_another_event_loop_says_so_and_asks_nothing() -> None:
    coordinator = Coordinator({"/arm": [ARM], "/stop": [{"phase": "idle", "unconfirmed": []}]})
    with served(coordinator) as url:
        client = AsyncClient(url)
        assert asyncio.run(client.arm()).arm == "an arm"
        says = f"the client of {url} was used in another event loop before: nothing was asked"
        with pytest.raises(OtherLoop, match=f"^{says}; make one client for each event loop$"):
            asyncio.run(client.arm())
        with pytest.raises(
            OtherLoop, match=f"^nothing was stopped, and the arm may move: .*{says}"
        ):
            asyncio.run(client.stop())
        with pytest.raises(OtherLoop, match=says):
            asyncio.run(client.close())
    assert coordinator.paths == ["/arm"]


def test_figures_that_json_does_not_have_are_wrong_input(ask: Ask) -> None:
    with pytest.raises(WrongInput, match="cannot be asked for that"):
        ask("http://127.0.0.1:9", "override", float("nan"))


def test_a_stop_waits_for_nothing_to_be_imported() -> None:
    """What reads the arm's state takes a quarter of a second to import."""
    with served(Coordinator({"/stop": [{"phase": "idle", "unconfirmed": []}]})) as url:
        code = f"from coordinator.client import Client; Client({url!r}).stop('stop')"
        done = subprocess.run(
            [sys.executable, "-c", f"{code}; import sys; print(*sys.modules)"],
            capture_output=True,
            text=True,
            check=True,
        )
    assert set(done.stdout.split()).isdisjoint(HEAVY)


# ---- waiting ----------------------------------------------------------------------------------

PAUSED = GOING | {"phase": "paused", "outcome": "paused", "awaits": None}
HELD = GOING | {"phase": "held", "outcome": "held", "message": "the operator asked"}
ENDING = ENDED | {"phase": "ending"}


def test_homing_is_waited_for_until_it_is_done(ask: Ask) -> None:
    running = HOMED | {"state": "running", "current": "elbow"}
    coordinator = Coordinator({"/home": [{"homing": 3}], "/homings/3": [running, running, HOMED]})
    with served(coordinator) as url:
        assert ask(url, "home_and_wait", ["elbow"]).asked == ("elbow",)
    assert coordinator.asked[0] == ("/home", {"joints": ["elbow"]})
    assert coordinator.paths[1:] == ["/homings/3"] * 3


def test_homing_that_fails_is_an_error_with_what_was_found(ask: Ask) -> None:
    failed = HOMED | {"state": "failed", "message": "elbow met no edge"}
    with (
        served(Coordinator({"/home": [{"homing": 3}], "/homings/3": [failed]})) as url,
        pytest.raises(HomingFailed, match="homing failed: elbow met no edge") as error,
    ):
        ask(url, "home_and_wait")
    assert error.value.homing.joints["elbow"].middle == 120_480


def played(*states: dict[str, Any], **report: Any) -> Coordinator:
    """Plays run 1, which is in these states one after another."""
    return Coordinator(
        {"/runs": [{"run": 1}], "/runs/1": list(states), "/runs/1/report": [REPORTED | report]}
    )


def test_a_run_is_waited_for_through_pauses_until_its_end_is_written(ask: Ask) -> None:
    coordinator = played(GOING, PAUSED, GOING, ENDING, ENDED)
    with served(coordinator) as url:
        report = ask(url, "play_and_wait", "good.nc", "M2\n")
    assert (report.outcome, report.run) == ("finished", 1)
    assert coordinator.paths == ["/runs", *["/runs/1"] * 5, "/runs/1/report"]


def test_who_waits_for_a_run_learns_that_an_input_did_not_come(ask: Ask) -> None:
    stranded = PAUSED | {"awaits": "seedling_held to be on", "message": "held was not on"}
    coordinator = played(GOING, PAUSED, GOING, stranded, outcome="paused")
    with served(coordinator) as url, pytest.raises(RunHeld, match="paused: held was not on"):
        ask(url, "play_and_wait", "good.nc", "M2\n")


def test_switches_of_the_operator_are_asked_for_where_they_are_on(ask: Ask) -> None:
    coordinator = played(ENDED)
    with served(coordinator) as url:
        ask(url, "play", "a.nc", "M2\n")
        ask(url, "play", "a.nc", "M2\n", PlayOptions(block_delete=True))
        ask(url, "play_and_wait", "a.nc", "M2\n", PlayOptions(optional_stop=True))
    asked = [body for path, body in coordinator.asked if path == "/runs"]
    usual = {"name": "a.nc", "text": "M2\n"}
    assert asked == [usual, {**usual, "block_delete": True}, {**usual, "optional_stop": True}]


def test_a_queued_entry_carries_the_options_of_a_play(ask: Ask) -> None:
    how = PlayOptions(loops=2, optional_stop=True)
    entry = {"id": 1, "taught": 5, "name": "tray", "options": asdict(how), "state": "waits"}
    told = {"revision": 1, "entries": [entry], "playing": False, "message": ""}
    kept = plain(TAUGHT)
    name, number = kept["programs"][0]["name"], kept["programs"][0]["id"]
    coordinator = Coordinator({"/taught": [kept], "/queue": [told], "/queue/edits": [told]})
    with served(coordinator) as url:
        assert ask(url, "queue_add", name, how).entries[0].options == how
        ask(url, "queue_set", 1, PlayOptions(step_by_line=True))
    edits = [body["edit"] for path, body in coordinator.asked if path == "/queue/edits"]
    assert edits == [
        {"type": "add", "taught": number, "options": {"loops": 2, "optional_stop": True}},
        {"type": "set-options", "entry": 1, "options": {"step_by_line": True}},
    ]


def test_curves_are_told_as_values_and_asked_for_with_the_switches(ask: Ask) -> None:
    coordinator = Coordinator({"/check/curves": [plain(CURVES)]})
    with served(coordinator) as url:
        assert ask(url, "curves", "M2\n", Switches(optional_stop=True)) == CURVES
    assert coordinator.asked == [("/check/curves", {"text": "M2\n", "optional_stop": True})]


def test_what_is_checked_is_what_the_switches_leave(ask: Ask) -> None:
    coordinator = Coordinator({"/check": [CHECKED]})
    with served(coordinator) as url:
        ask(url, "check", "M2\n", Switches(block_delete=True, optional_stop=True))
    body = {"text": "M2\n", "block_delete": True, "optional_stop": True}
    assert coordinator.asked == [("/check", body)]


def test_a_line_that_the_text_does_not_have_is_told_with_how_many_it_has(ask: Ask) -> None:
    coordinator = Coordinator({})
    with served(coordinator) as url:
        for method, line, how in (
            ("play", 4, PlayOptions(from_line=4)),
            ("check", 4, Switches(from_line=4)),
            ("check", 0, Switches(from_line=0)),
            ("curves", -2, Switches(from_line=-2)),
        ):
            named = ("a.nc",) if method == "play" else ()
            with pytest.raises(WrongInput) as error:
                ask(url, method, *named, "G0 A1\nA2\nM2\n", how)
            assert str(error.value) == (
                f"the line to begin from is {line}, but the program has 3 lines, counted from 1"
            )
        with pytest.raises(WrongInput, match="but the program has 1 line, counted"):
            ask(url, "check", "M2", Switches(from_line=2))
    assert coordinator.asked == []


def test_a_run_that_is_held_is_left_to_whoever_resumes(ask: Ask) -> None:
    coordinator = played(GOING, HELD, outcome="held")
    with (
        served(coordinator) as url,
        pytest.raises(RunHeld, match="run 1 is held: the operator asked") as error,
    ):
        ask(url, "play_and_wait", "good.nc", "M2\n")
    assert error.value.report.outcome == "held"
    assert "/stop" not in coordinator.paths


@pytest.mark.parametrize("outcome", ["stopped", "faulted", "lost", "refused", "scrapped"])
def test_a_run_that_ends_otherwise_is_an_error_with_its_report(ask: Ask, outcome: str) -> None:
    coordinator = played(ENDED | {"outcome": outcome}, outcome=outcome, message="it was so")
    with (
        served(coordinator) as url,
        pytest.raises(RunNotFinished, match=f"run 1 was {outcome}: it was so") as error,
    ):
        ask(url, "play_and_wait", "good.nc", "M2\n")
    assert error.value.report.outcome == outcome
    assert not isinstance(error.value, RunHeld)


async def test_who_waits_no_longer_ends_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coordinator.client.questions.patience.LOOK_S", 0.0)
    coordinator = played(GOING)
    with served(coordinator) as url:
        async with AsyncClient(url) as client:
            waiting = asyncio.create_task(client.play_and_wait("good.nc", "M2\n"))
            while "/runs/1" not in coordinator.paths:
                await asyncio.sleep(0)
            waiting.cancel()
            with pytest.raises(asyncio.CancelledError):
                await waiting
    assert set(coordinator.paths) == {"/runs", "/runs/1"}


def at(word: str, *joints: dict[str, Any], **condition: Any) -> dict[str, Any]:
    """What `GET /arm` says of an arm in this condition."""
    condition = ARM["condition"] | {"word": word} | condition
    return ARM | {"joints": list(joints), "condition": condition}


@pytest.mark.parametrize("word", ["at rest", "stopped", "motors off", "held", "paused"])
def test_rest_is_waited_for_whatever_it_is_that_keeps_the_arm_there(ask: Ask, word: str) -> None:
    unsure = [at("moving"), at("not known"), at("starts"), at("homing"), at("dozing")]
    coordinator = Coordinator({"/arm": [*unsure, at(word)]})
    with served(coordinator) as url:
        assert ask(url, "wait_until_at_rest").condition.word == word
    assert coordinator.paths == ["/arm"] * 6


def test_rest_is_not_believed_while_a_stop_is_not_confirmed(ask: Ask) -> None:
    unsure = [at("stopped", joint("tip", stop_wanted=1)), at("stopped", unconfirmed=["tip"])]
    coordinator = Coordinator({"/arm": [*unsure, at("stopped", joint("tip"))]})
    with served(coordinator) as url:
        ask(url, "wait_until_at_rest")
    assert coordinator.paths == ["/arm"] * 3


def test_who_waits_for_rest_in_vain_hears_what_still_moves(ask: Ask) -> None:
    joints = (
        joint("base", velocity_deg_s=-5.0),
        joint("elbow", velocity_deg_s=0.0),
        joint("wrist", link="offline", velocity_deg_s=5.0),
        joint("tip", velocity_deg_s=0.0, stop_wanted=1),
    )
    coordinator = Coordinator({"/arm": [at("moving", *joints, cause="good.nc")]})
    with served(coordinator) as url, pytest.raises(NotFinished) as error:
        ask(url, "wait_until_at_rest", 0.0)
    assert str(error.value) == (
        "after 0 s the arm does not surely rest, it is moving (good.nc): base turns at -5 °/s, "
        "wrist is not heard, tip has not confirmed the stop"
    )
    assert coordinator.paths == ["/arm"]


@pytest.mark.parametrize("longest_s", [-1.0, float("nan")])
def test_a_time_to_wait_that_cannot_be_is_wrong_input(ask: Ask, longest_s: float) -> None:
    with pytest.raises(WrongInput, match=f"longest_s is {longest_s:g}, but must be 0 or more"):
        ask("http://127.0.0.1:9", "wait_until_at_rest", longest_s)


def test_who_gets_to_a_waypoint_after_a_stop_is_there_all_the_same(ask: Ask) -> None:
    place = {"id": 3, "name": "tray", "angles_deg": {"tip": 10.0}}
    taught = {"waypoints": [place], "sequences": [], "programs": [], "revision": 1}
    there = at("stopped", joint("tip", position_deg=10.0, velocity_deg_s=0.0))
    coordinator = Coordinator(
        {
            "/taught": [taught | {"undo": None, "redo": None}],
            "/go": [{"phase": "jogging"}],
            "/jog": [{"phase": "idle"}],
            "/arm": [there, at("moving", cause="tip has not confirmed to be at rest"), there],
        }
    )
    with served(coordinator) as url:
        ask(url, "go_to", "tray")
    assert coordinator.paths == ["/taught", "/go", "/arm", "/jog", "/arm", "/arm"]


# ---- the journal ------------------------------------------------------------------------------


class Journal:
    """A journal that grows by some lines whenever it is asked for its newest."""

    def __init__(self, at_once: int) -> None:
        self.lines = [self._line(1)]
        self.at_once = at_once

    @staticmethod
    def _line(number: int) -> dict[str, Any]:
        return {
            "id": number, "utc": "2026-05-04T10:11:12+00:00", "at_us": number, "level": "info",
            "code": "a-code", "message": f"line {number}", "detail": False,
        }  # fmt: skip

    def __call__(self, path: str, _body: bytes) -> Any:
        asked = dict(one.split("=") for one in path.partition("?")[2].split("&"))
        before = int(asked.get("before", len(self.lines) + 1))
        found = [line for line in self.lines[::-1] if line["id"] < before][: int(asked["limit"])]
        if "before" not in asked:
            first = len(self.lines) + 1
            self.lines += [self._line(first + k) for k in range(self.at_once)]
        return told({"events": found})


@pytest.mark.parametrize("at_once", [1, 2, 3, 7])
def test_lines_come_oldest_first_and_none_is_left_out_or_told_twice(
    monkeypatch: pytest.MonkeyPatch, at_once: int
) -> None:
    monkeypatch.setattr("coordinator.client.questions.journal.LISTEN_S", 0.0)
    monkeypatch.setattr("coordinator.client.questions.journal.PAGE", 3)
    with served(Journal(at_once)) as url, Client(url) as client:
        lines = client.follow_events()
        assert [next(lines).id for _ in range(20)] == list(range(2, 22))
        behind = client.follow_events(after=4)
        assert next(behind).id == 5


async def test_they_come_so_in_an_event_loop_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coordinator.client.questions.journal.LISTEN_S", 0.0)
    with served(Journal(2)) as url:
        async with AsyncClient(url) as client:
            found = []
            async for event in client.follow_events():
                found.append(event.id)
                if len(found) == 5:
                    break
    assert found == [2, 3, 4, 5, 6]


def test_a_text_too_long_for_json_is_sent_as_it_is_and_named_by_its_digest(ask: Ask) -> None:
    coordinator = Coordinator({"/texts": [{"sha256": "5" * 64}], "/check": [CHECKED]})
    with served(coordinator) as url:
        ask(url, "check", "(long)\n" * 50_000 + "M2\n")
    assert coordinator.paths == ["/texts", "/check"]
    assert coordinator.asked[-1] == ("/check", {"sent": "5" * 64})


def lines(*told_: object) -> Any:
    body = b"".join(json.dumps(one, ensure_ascii=False).encode() + b"\n" for one in told_)
    return 200, {"Content-Type": "application/x-ndjson"}, body


FAR = {"progress": {"stage": "planning", "done": 256, "of": 1000}}


def test_how_far_a_check_is_is_told_before_its_answer(ask: Ask) -> None:
    coordinator = Coordinator({"/check": [lines(FAR, FAR, {"answer": CHECKED})]})
    seen: list[Progress] = []
    with served(coordinator) as url:
        assert ask(url, "check", "M2\n", tell=seen.append).ok
    assert seen == [Progress(Stage.PLANNING, 256, 1000)] * 2


def test_a_problem_in_the_last_line_is_raised_as_any_other(ask: Ask) -> None:
    mistake = {"line": 2, "column": 1, "message": "G7 is\u2028none\x85"}  # which end lines of text
    wrong = {"type": "urn:unisono:problem:program", "title": "Unprocessable", "status": 422,
             "detail": "the program has 1 mistake", "errors": [mistake]}  # fmt: skip
    busy = {"type": "urn:unisono:problem:left", "title": "Conflict", "status": 409, "detail": "x"}
    answers = [lines(FAR, {"problem": wrong}), lines({"problem": busy}), lines(FAR)]
    with served(Coordinator({"/runs": answers})) as url:
        with pytest.raises(WrongInput) as caught:
            ask(url, "play", "a.nc", "M2\n")
        assert caught.value.mistakes == (Problem(**mistake),)  # type: ignore[arg-type]
    with served(Coordinator({"/runs": answers[1:]})) as url, pytest.raises(Refused, match="x"):
        ask(url, "play", "a.nc", "M2\n")
    with served(Coordinator({"/runs": answers[2:]})) as url, pytest.raises(Unreachable):
        ask(url, "play", "a.nc", "M2\n")


def test_what_is_raised_as_it_is_told_ends_the_request(ask: Ask) -> None:
    def cancel(_progress: Progress) -> None:
        raise KeyboardInterrupt

    coordinator = Coordinator({"/check": [lines(FAR, {"answer": CHECKED})]})
    with served(coordinator) as url, pytest.raises(KeyboardInterrupt):
        ask(url, "check", "M2\n", tell=cancel)
