"""Cables whose answers are not waited for as long as in a workshop."""

import pytest

from coordinator.cable import conversation


@pytest.fixture(autouse=True)
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(conversation, "ANSWER_S", 0.3)
