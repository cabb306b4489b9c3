"""`unisono control release` of what one does not have."""

import json
from collections.abc import Callable

import pytest

from coordinator.cli.command import run
from tests.coordinator.cli.servers import Answer, served


def coordinator(asked: list[str], holder: str | None) -> Callable[[str, bytes], Answer]:
    def answer(path: str, _body: bytes) -> Answer:
        asked.append(path)
        holds = None if path.endswith("release") and holder == "me" else holder
        told = {"holder": holds, "you": "me", "name": "the phone" if holds else None, "watchers": 0}
        return 200, {"Content-Type": "application/json"}, json.dumps(told).encode()

    return answer


@pytest.mark.parametrize(("holder", "who"), [(None, "nobody has it"), ("you", "the phone has it")])
def test_who_has_no_control_cannot_give_it_back_and_is_told_who_has(
    holder: str | None, who: str, capsys: pytest.CaptureFixture[str]
) -> None:
    asked: list[str] = []
    with served(coordinator(asked, holder)) as url:
        assert run(["control", "release", "--url", url]) == 3
    assert capsys.readouterr().err == f"unisono: you have no control to give back: {who}\n"
    assert "/api/v1/control/release" not in asked


def test_who_has_control_gives_it_back(capsys: pytest.CaptureFixture[str]) -> None:
    asked: list[str] = []
    with served(coordinator(asked, "me")) as url:
        assert run(["control", "release", "--url", url]) == 0
    assert capsys.readouterr().out == "nobody has control\n"
