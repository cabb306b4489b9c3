"""The joint in C on an emulated controller does what it does on this machine, within its budget."""

import inspect
import itertools
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from tests.joint_c import test_vectors
from tests.joint_c.asking import Vectors
from tests.joint_c.emulated import (
    answers_of,
    asked_by_the_core,
    build,
    costs,
    missing,
    run,
    size,
    whole_start,
)

CODE_BYTES = 64 * 1024
CABLE_BYTES = 4 * 1024
IMAGE_BYTES = 4 * 1024
STATE_BYTES = 24 * 1024
IMAGE_STATE_BYTES = 1024


@pytest.fixture(scope="module")
def machine(tmp_path_factory: pytest.TempPathFactory) -> Path:
    if (sentence := missing()) is not None:
        pytest.fail(sentence)
    folder = tmp_path_factory.mktemp("emulated")
    build(folder)
    return folder


class Asked(Vectors):
    """Keeps questions and answers."""

    def __init__(self, program: Path) -> None:
        super().__init__(program)
        self.questions: list[str] = []
        self.answers: list[dict[str, Any]] = []

    def ask(self, ask: str, **given: Any) -> dict[str, Any]:
        answer = super().ask(ask, **given)
        question = {"id": str(len(self.questions) + 1), "ask": ask, **given}
        self.questions.append(json.dumps(question, separators=(",", ":")))
        self.answers.append({"id": question["id"], **answer})
        return answer


def each_case(test: Any) -> Iterator[dict[str, Any]]:
    """The arguments of each case of a test, besides `vectors`."""
    marks = [mark for mark in getattr(test, "pytestmark", []) if mark.name == "parametrize"]
    for values in itertools.product(*(mark.args[1] for mark in marks)):
        yield dict(zip((mark.args[0] for mark in marks), values, strict=True))


def test_answers_the_golden_vectors_as_this_machine_does(joint_build: Path, machine: Path) -> None:
    asked = Asked(joint_build / "vectors")
    for name, test in inspect.getmembers(test_vectors, inspect.isfunction):
        if name.startswith("test_"):
            for case in each_case(test):
                test(asked, **case)  # which checks the answer of this machine
    assert asked.end() == 0
    assert len(asked.questions) > 100
    found = answers_of(run(machine / "vectors.elf", asked.questions, machine))
    assert found == asked.answers


def test_a_whole_start_goes_as_on_this_machine(joint_build: Path, machine: Path) -> None:
    lines, wanted = whole_start(joint_build / "sequence")
    answers = answers_of(run(machine / "sequence.elf", lines, machine))
    spent = costs(lines, answers)
    for answer in answers:
        del answer["instructions"], answer["stack"]
    assert answers == wanted
    states = {answer["state"] for answer in answers}
    assert states >= {"unhomed", "homing", "ready", "prepared", "armed", "moving", "finished"}
    # What is dear may not become dearer unseen: a half above what was measured.
    assert spent["datagram"].most < 630_000
    assert spent["frame"].most < 3_000_000
    assert max(cost.stack for cost in spent.values()) < 4096


def test_the_core_fits_its_budget(machine: Path) -> None:
    found = size(machine)
    assert 40_000 < found.code <= CODE_BYTES
    assert 1_000 < found.cable_code <= CABLE_BYTES
    assert 1_000 < found.image_code <= IMAGE_BYTES
    assert 20_000 < found.state <= STATE_BYTES
    assert 300 < found.image_state <= IMAGE_STATE_BYTES


def test_a_joint_that_takes_no_images_links_nothing_of_them(machine: Path) -> None:
    asked = asked_by_the_core(machine, apart=("update.o", "image.o"))
    assert "uj_joint_drive" in asked
    assert not [name for name in asked if name.startswith(("uj_update", "uj_image", "uj_sign"))]
