"""Which commands give control back, and which leave it as it was; the coordinator is a stand-in."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from coordinator.cli.command import run
from tests.coordinator.cli.servers import ARM, ENDED, HOMED, REPORTED, Answer, joint, served

PASSING = [["resume"], ["override", "50"]]


def coordinator(asked: list[str], holder: str | None, fails: str = "") -> Callable[..., Answer]:
    """Does what it is asked, but for one path, and keeps in `asked` what that was."""

    def answer(path: str, _body: bytes) -> Answer:
        path = path.removeprefix("/api/v1")
        asked.append(path)
        value = {
            "/arm": ARM | {"joints": [joint("base")]},
            "/control": {"holder": holder, "you": "me", "name": "a terminal", "watchers": 0},
            "/home": {"homing": 1},
            "/homings/1": HOMED | {"asked": ["base"]},
            "/runs": {"run": 1},
            "/runs/1": ENDED,
            "/runs/1/report": REPORTED,
        }.get(path, {"phase": "moving", "holder": None})
        status = 200
        if path == fails:
            status, value = 409, {"type": "urn:unisono:problem:moved", "detail": "it moved"}
        return status, {"Content-Type": "application/json"}, json.dumps(value).encode()

    return answer


@pytest.mark.parametrize("words", PASSING)
@pytest.mark.parametrize(("holder", "gives_back"), [(None, True), ("me", False)])
def test_what_only_passes_by_leaves_control_as_it_was(
    words: list[str], holder: str | None, *, gives_back: bool
) -> None:
    asked: list[str] = []
    with served(coordinator(asked, holder)) as url:
        assert run([*words, "--json", "--url", url]) == 0
    assert ("/control/release" in asked) is gives_back
    assert asked.index("/control") < asked.index(f"/{words[0]}")


@pytest.mark.parametrize(
    ("words", "followed"), [(["home"], "/homings/1"), (["run", "good.nc"], "/runs/1")]
)
def test_what_is_followed_gives_control_back_also_where_it_cannot_be_followed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], followed: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.nc").write_text("M2\n")
    for fails, code in (("", 0), (followed, 3)):
        asked: list[str] = []
        with served(coordinator(asked, "me", fails)) as url:
            assert run([*words, "--json", "--url", url]) == code
        assert asked.count("/control/release") == 1


@pytest.mark.parametrize(
    ("words", "commanded"),
    [(["home"], "/home"), (["run", "good.nc"], "/runs"), *((w, f"/{w[0]}") for w in PASSING)],
)
def test_what_is_refused_takes_no_control_from_another_terminal_of_this_user(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: list[str], commanded: str
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "good.nc").write_text("M2\n")
    asked: list[str] = []
    with served(coordinator(asked, "me", commanded)) as url:
        assert run([*words, "--json", "--url", url]) == 3
    assert commanded in asked
    assert "/control/release" not in asked
