"""Tokens: shown once, kept as hashes, void when new ones are made."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from coordinator.api.tokens import TOKENS_FILE, Role, Tokens
from coordinator.config.data_folder import DataFolderError


def test_each_token_has_its_role_and_everything_else_has_none(tmp_path: Path) -> None:
    tokens = Tokens(tmp_path)
    assert tokens.missing() == [Role.WATCH, Role.OPERATE]
    made = tokens.make(tokens.missing())
    assert tokens.missing() == []
    assert {role: tokens.role_of(token) for role, token in made.items()} == {
        Role.WATCH: Role.WATCH,
        Role.OPERATE: Role.OPERATE,
    }
    for wrong in ("", "x", made[Role.WATCH][:-1], made[Role.WATCH] + "A", "é"):
        assert tokens.role_of(wrong) is None


def test_the_file_does_not_hold_the_tokens(tmp_path: Path) -> None:
    made = Tokens(tmp_path).make(list(Role))
    text = (tmp_path / TOKENS_FILE).read_text()
    assert all(token not in text for token in made.values())
    assert Tokens(tmp_path).role_of(made[Role.OPERATE]) is Role.OPERATE


def test_a_new_token_holds_at_once_where_the_file_is_in_use_and_the_old_one_no_more(
    tmp_path: Path,
) -> None:
    serving = Tokens(tmp_path)
    old = serving.make(list(Role))
    new = Tokens(tmp_path).make([Role.WATCH])
    assert serving.role_of(old[Role.WATCH]) is None
    assert serving.role_of(new[Role.WATCH]) is Role.WATCH
    assert serving.role_of(old[Role.OPERATE]) is Role.OPERATE


@pytest.mark.parametrize("spoil", [lambda path: path.unlink(), lambda path: path.write_text("{")])
def test_a_disk_that_fails_voids_no_token_that_was_known(
    tmp_path: Path, spoil: Callable[[Path], Any], caplog: pytest.LogCaptureFixture
) -> None:
    tokens = Tokens(tmp_path)
    made = tokens.make([Role.WATCH])
    assert tokens.role_of(made[Role.WATCH]) is Role.WATCH
    [path] = tmp_path.iterdir()
    spoil(path)
    for _ in range(3):
        assert tokens.role_of(made[Role.WATCH]) is Role.WATCH
    assert tokens.role_of("wrong") is None
    assert len([one for one in caplog.records if one.levelname == "ERROR"]) == 1


def test_two_tokens_are_never_the_same(tmp_path: Path) -> None:
    tokens = Tokens(tmp_path)
    made = [token for _ in range(10) for token in tokens.make(list(Role)).values()]
    assert len(set(made)) == 20
    assert all(len(token) == 43 for token in made)  # 256 bits in base64url (RFC 4648 5)


@pytest.mark.parametrize("text", ["", "{", "[]", '{"king": "x"}', "\udcff"])
def test_a_broken_file_lets_nobody_in_and_is_named(tmp_path: Path, text: str) -> None:
    (tmp_path / TOKENS_FILE).write_text(text, errors="surrogateescape")
    with pytest.raises(DataFolderError, match=TOKENS_FILE):
        Tokens(tmp_path).role_of("x")
