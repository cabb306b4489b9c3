"""Mutants fit the code as it is: `make mutants` takes long, so one that does not is told here."""

import ast
import json
import signal

import pytest

from tests.campaign import hunting, play
from tests.campaign.hunting import hunt
from tests.campaign.mutants import MUTANTS, ROOT, Edit, Mutant, changed


@pytest.mark.parametrize("mutant", MUTANTS, ids=lambda mutant: str(mutant.slug))
def test_mutant_finds_each_of_its_texts_once_and_changes_the_code(mutant: Mutant) -> None:
    for edit in mutant.edits:
        assert (ROOT / edit.path).read_text().count(edit.old) == 1, edit
    for path, text in changed(mutant, ROOT).items():
        assert ast.dump(ast.parse(text)) != ast.dump(ast.parse(path.read_text())), path


def test_no_two_mutants_keep_their_scenario_in_one_file() -> None:
    assert len({mutant.slug for mutant in MUTANTS}) == len(MUTANTS)


@pytest.mark.parametrize("old", ["no such text", "import "])
def test_mutant_that_does_not_fit_is_an_error(old: str) -> None:
    mutant = Mutant("one: that does not fit", (Edit("coordinator/core/run/start.py", old, ""),))
    with pytest.raises(ValueError, match=r"one: that does not fit.*start\.py has \d+ times"):
        changed(mutant, ROOT)


def test_mutant_by_which_a_scenario_never_ends_is_caught(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def endless(*_scenario: object) -> None:
        while True:
            pass

    monkeypatch.setattr(play, "play", endless)
    monkeypatch.setattr(hunting, "ENDLESS_S", 0.05)
    before = signal.getsignal(signal.SIGVTALRM)
    try:
        assert hunt(1) == 0
    finally:
        signal.signal(signal.SIGVTALRM, before)
    caught = json.loads(capsys.readouterr().out)
    assert (caught["by"], caught["where"]) == ("crash", "1")
    assert "did not end within 0.05 s" in caught["sentence"]
