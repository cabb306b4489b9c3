"""How long checks of home edges take is told before the arm moves, and as an entry is queued."""

import json
from dataclasses import asdict
from typing import Any

import pytest

from coordinator.api.responses.base import plain
from coordinator.api.responses.taught import TAUGHT
from coordinator.cli.common import CAUTION
from coordinator.programs.options import PlayOptions
from tests.coordinator.cli.here import Unisono, unisono_here
from tests.coordinator.cli.servers import ARM, CHECKED, ENDED, REPORTED, served
from tests.coordinator.client.asked import Coordinator, told

KEPT = plain(TAUGHT)
NAME, NUMBER = KEPT["programs"][0]["name"], KEPT["programs"][0]["id"]
ALONE = {"revision": 1, "entries": [], "playing": False, "message": ""}
TEXT = 200, {"Content-Type": "text/plain"}, b"M2\n"
EACH = "to check home edges between two loops takes 94.2 s each time"
THRICE = f"{EACH}, 188.4 s in all"
UNKNOWN = "how long a check of home edges between two loops takes is not known"


def answering(checked: dict[str, Any]) -> Coordinator:
    return Coordinator(
        {
            "/arm": [ARM],
            "/taught": [KEPT],
            f"/taught/programs/{NUMBER}/text": [TEXT],
            "/check": [CHECKED | checked],
            "/runs": [told({"run": 1}, 202)],
            "/runs/1": [ENDED],
            "/runs/1/report": [REPORTED],
            "/queue": [ALONE],
            "/queue/edits": [ALONE],
            "/control/release": [{}],
        }
    )


@pytest.fixture(name="unisono")
def _unisono(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Any
) -> Unisono:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.nc").write_text("M2\n")
    return unisono_here(capsys)


@pytest.mark.parametrize("words", [["run", "good.nc"], ["teach", "play", NAME]])
def test_run_tells_how_long_edges_take_before_anything_moves(
    unisono: Unisono, words: list[str]
) -> None:
    coordinator = answering({"edges_s": 94.2})
    with served(coordinator) as url:
        done = unisono(*words, "--loops", "3", "--check-edges", "--from-line", "1", "--url", url)
    assert done.code == 0
    first, second, *_ = done.out.splitlines()
    assert first == f"{words[-1]}: {THRICE}"
    assert second == CAUTION
    asked = [path for path in coordinator.paths if path in ("/check", "/runs")]
    assert asked == ["/check", "/runs"]
    (body,) = (body for path, body in coordinator.asked if path == "/check")
    assert body == {"text": "M2\n", "from_line": 1}


def test_run_with_json_tells_it_on_standard_error_first_and_in_its_value(unisono: Unisono) -> None:
    with served(answering({"edges_s": 94.2})) as url:
        done = unisono("run", "good.nc", "--minutes", "9", "--check-edges", "--json", "--url", url)
    assert json.loads(done.out) == REPORTED | {"edges_s": 94.2}
    assert done.err.splitlines()[0] == f"good.nc: {EACH}"


def test_run_without_the_check_of_edges_is_not_checked_twice(unisono: Unisono) -> None:
    coordinator = answering({"edges_s": 94.2})
    with served(coordinator) as url:
        done = unisono("run", "good.nc", "--loops", "3", "--json", "--url", url)
    assert "/check" not in coordinator.paths
    assert json.loads(done.out) == REPORTED


def test_run_says_nothing_of_edges_where_it_tells_itself_what_is_wrong(unisono: Unisono) -> None:
    problem = {
        "type": "urn:unisono:problem:edges", "title": "Conflict", "status": 409,
        "detail": "tip was never homed here",
    }  # fmt: skip
    coordinator = answering({"edges_s": None})
    with served(
        lambda path, body: told(problem, 409) if path.endswith("/runs") else coordinator(path, body)
    ) as url:
        done = unisono("run", "good.nc", "--loops", "3", "--check-edges", "--url", url)
    assert (done.code, done.out, done.err) == (3, "", "unisono: tip was never homed here\n")


def test_queue_add_and_queue_set_tell_how_long_edges_take(unisono: Unisono) -> None:
    entry = {
        "id": 1, "taught": NUMBER, "name": NAME, "state": "waits", "run": None, "why": None,
        "options": asdict(PlayOptions(loops=2)),
    }  # fmt: skip
    queue = ALONE | {"entries": [entry]}
    coordinator = answering({"edges_s": 94.2})
    with served(
        lambda path, body: told(queue) if "/queue" in path else coordinator(path, body)
    ) as url:
        for words in (["add", NAME, "--loops", "3"], ["set", "1", "--loops", "3"]):
            done = unisono("queue", *words, "--check-edges", "--url", url)
            assert done.code == 0
            assert done.out.splitlines()[-1] == f"{NAME}: {THRICE}"
            as_json = unisono("queue", *words, "--check-edges", "--json", "--url", url)
            assert json.loads(as_json.out) == queue | {"edges_s": 94.2}
        plain_words = unisono("queue", "add", NAME, "--loops", "3", "--json", "--url", url)
    assert json.loads(plain_words.out) == queue


def test_queue_add_says_where_the_time_is_not_known(unisono: Unisono) -> None:
    with served(answering({"edges_s": None})) as url:
        words = ["queue", "add", NAME, "--loops", "3", "--check-edges", "--url", url]
        done, as_json = unisono(*words), unisono(*words, "--json")
    assert done.code == 0
    assert done.out.splitlines()[-1].startswith(f"{NAME}: {UNKNOWN}")
    assert json.loads(as_json.out) == ALONE | {"edges_s": None}
