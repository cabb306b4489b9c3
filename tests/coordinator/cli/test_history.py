"""`unisono history`: what a joint was, in a table, as JSON, as a file."""

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest

from coordinator.answers.joint_history import HopWear
from coordinator.api.history_csv import history_csv
from coordinator.api.responses.base import plain
from coordinator.api.responses.joint_history import HISTORY, WEAR
from coordinator.cli.command import run
from coordinator.cli.hop_wear import hop_lines
from tests.coordinator.cli.servers import Answer, served

JSON = {"Content-Type": "application/json"}


class _Past:
    """A coordinator that knows the elbow."""

    def __init__(self) -> None:
        self.asked: list[dict[str, list[str]]] = []

    def __call__(self, path: str, _body: bytes) -> Answer:
        where = urlsplit(path)
        self.asked.append(parse_qs(where.query))
        if where.path.endswith("/joints/elbow/wear"):
            return 200, JSON, json.dumps(plain(WEAR)).encode()
        if not where.path.endswith("/joints/elbow/history"):
            problem = {"type": "urn:unisono:problem:not-found", "detail": "there is no such joint"}
            return 404, JSON, json.dumps(problem).encode()
        if "format" in self.asked[-1]:
            return 200, {"Content-Type": "text/csv"}, history_csv(HISTORY).encode()
        return 200, JSON, json.dumps(plain(HISTORY)).encode()


@pytest.fixture(name="past")
def what_was() -> _Past:
    return _Past()


@pytest.fixture(name="url")
def coordinator_with_a_past(past: _Past) -> Iterator[str]:
    with served(past) as url:
        yield url


@pytest.fixture(autouse=True)
def utc(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "UTC")


def test_least_mean_and_greatest_of_all_that_was_read_are_told_and_what_it_did(
    url: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["history", "elbow", "--url", url]) == 0
    told = capsys.readouterr().out
    rows = {cells[0]: cells[1:] for line in told.splitlines() if (cells := line.split())}
    assert "elbow from 2026-05-01 09:00:00 to 2026-05-01 10:00:00" in told
    assert rows["temperature,"] == ["°C", "31.5", "35.2", "41.5"]
    assert rows["starts"] == ["112"]
    assert "in all since 2026-01-12 08:00:00: heard for 334.5 h" in told
    assert "71204 starts, 60118 reversals, 2750610°" in told


def test_the_hop_and_its_forecast_are_told_in_two_sentences(
    url: str, past: _Past, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["history", "elbow", "--hop-since", "2026-04-12", "--url", url]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert past.asked[-1] == {"from": ["2026-04-12T00:00:00+00:00"]}
    assert "hop, fitted, Ω 0.061 0.062 0.062" in told
    assert (
        "the hop to elbow has 0.062 Ω, standard uncertainty 0.004 Ω; with all joints in motion the "
        "arm bears 0.914 Ω there it wears by 1.21 mΩ a day, standard uncertainty 0.04 mΩ (by 92 "
        "days since 2026-01-12); if that goes on and nothing else changes, it passes that about "
        "2028-04-06, with 90 % confidence from 2028-02-01 to 2028-06-17"
    ) in told


WORN = WEAR.hop
assert WORN is not None
NONE_KNOWN = replace(WORN, passes=None, earliest=None, latest=None, ohm_per_day=None)


@pytest.mark.parametrize(
    ("hop", "says"),
    [
        (None, "how the hop to elbow wears is not known: the coordinator is an older one"),
        (
            replace(NONE_KNOWN, reason="3 days have a value so far, 8 are needed", days=3),
            (
                "when that is passed is not known: 3 days have a value so far, 8 are needed "
                "(by 3 days since 2026-01-12)"
            ),
        ),
        (
            replace(NONE_KNOWN, earliest="2170-01-01", reason="at this rate it …"),
            "not known: at this rate it … (by 92 days since 2026-01-12); it may be at 2170-01-01",
        ),
        (
            replace(NONE_KNOWN, ohm=None, message="it is new", days=0, since=None, reason="none"),
            (
                "the hop to elbow is not fitted (it is new); with all joints in motion the arm "
                "bears 0.914 Ω there\nwhen that is passed is not known: none"
            ),
        ),
        (replace(WORN, latest=None), "from 2028-02-01 to some day after 2199"),
        (
            replace(WORN, beyond=True),
            (
                "elbow's hop HAS MORE THAN THE ARM BEARS (by 92 days since 2026-01-12): with all "
                "joints in motion one may stop, and the arm with it. Look at its slip ring and "
                "plugs; its line passes that about 2028-04-06"
            ),
        ),
        (
            replace(NONE_KNOWN, beyond=True, reason="no rise is told apart from scatter"),
            "elbow's hop HAS MORE THAN THE ARM BEARS",
        ),
        (
            replace(NONE_KNOWN, limit_ohm=None, beyond=True, reason="one is below"),
            "one IS BELOW its supply_limit_v whatever this hop has",
        ),
    ],
)
def test_what_is_not_known_of_a_hop_or_is_too_much_is_said(hop: HopWear | None, says: str) -> None:
    told = "\n".join(hop_lines(replace(WEAR, hop=hop)))
    assert says in told
    assert ("if that goes on" in told) is (
        hop is not None and hop.latest is None and bool(hop.passes)
    )


def test_json_is_what_the_coordinator_said_with_what_was_done_in_all(
    url: str, past: _Past, capsys: pytest.CaptureFixture[str]
) -> None:
    asked = ["--from", "2026-05-01T09:00:00+02:00", "--to", "2026-05-01 09:30", "--json"]
    assert run(["history", "elbow", *asked, "--url", url]) == 0
    assert json.loads(capsys.readouterr().out) == {**plain(HISTORY), "wear": plain(WEAR)}
    assert past.asked[0]["from"] == ["2026-05-01T07:00:00+00:00"]
    assert past.asked[0]["to"] == ["2026-05-01T09:30:00+00:00"]


def test_a_table_is_written_to_a_file(
    url: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "elbow.csv"
    assert run(["history", "elbow", "--csv", str(file), "--url", url]) == 0
    assert capsys.readouterr().out == f"{file} is the history of elbow\n"
    assert file.read_bytes() == history_csv(HISTORY).encode()


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["elbow", "--from", "yesterday"], "--from is 'yesterday', but must be an instant"),
        (["elbow", "--points", "1"], "points"),
        (["elbow", "--csv", "elbow.txt"], "must end in .csv"),
        (["thumb"], "there is no such joint"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    url: str, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    assert run(["history", *arguments, "--url", url]) == 2
    said = capsys.readouterr().err
    assert says in said
    assert len(said.splitlines()) == 1
