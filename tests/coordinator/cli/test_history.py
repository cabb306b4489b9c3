"""`unisono history`: what a joint was, in a table, as JSON, as a file."""

import json
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest

from coordinator.answers.joint_history import HopWear
from coordinator.api.history_csv import history_csv
from coordinator.api.responses.base import plain
from coordinator.api.responses.joint_history import HISTORY, WEAR
from coordinator.cli.command import run
from coordinator.cli.history import WRITTEN_S
from coordinator.cli.hop_wear import hop_lines
from coordinator.records.joint_history import BATCH, SAMPLE_S
from tests.coordinator.cli.servers import ARM, Answer, joint, served

JSON = {"Content-Type": "application/json"}


class _Past:
    """A coordinator that knows the elbow."""

    def __init__(self) -> None:
        self.asked: list[dict[str, list[str]]] = []
        self.history, self.wear = HISTORY, WEAR

    def __call__(self, path: str, _body: bytes) -> Answer:
        where = urlsplit(path)
        if where.path.endswith("/arm"):
            return 200, JSON, json.dumps(ARM | {"joints": [joint("elbow")]}).encode()
        self.asked.append(parse_qs(where.query))
        why = "query/from: is 1960-01-01T00:00:00+00:00, but must be from 1970 to 2200"
        problem = {"type": "urn:unisono:problem:invalid", "detail": why}
        if self.asked[-1].get("from", [""])[0].startswith("1960"):
            return 422, JSON, json.dumps(problem).encode()
        if where.path.endswith("/joints/elbow/wear"):
            return 200, JSON, json.dumps(plain(self.wear)).encode()
        if not where.path.endswith("/joints/elbow/history"):  # as a router does
            problem = {"type": "urn:unisono:problem:not-found", "detail": "Not Found"}
            return 404, JSON, json.dumps(problem).encode()
        if "format" in self.asked[-1]:
            return 200, {"Content-Type": "text/csv"}, history_csv(HISTORY).encode()
        return 200, JSON, json.dumps(plain(self.history)).encode()


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
    assert rows["heard"] == ["1.0", "h"]
    assert "in all, since the hour that began at 2026-01-12 08:00: heard for 334.5 h" in told
    assert "71204 starts, 60118 reversals, 2750610°" in told


def test_the_hop_and_its_forecast_are_told_in_two_sentences(
    url: str, past: _Past, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["history", "elbow", "--hop-since", "2026-04-12", "--url", url]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert past.asked[-1] == {"from": ["2026-04-12T00:00:00+00:00"]}
    assert "hop, fitted, Ω 0.061 0.062 0.062" in told
    assert "position error, ° -0.0004 0.0000 0.0004" in told
    assert (
        "the hop to elbow has 0.062 Ω, standard uncertainty 0.004 Ω; with all joints in motion the "
        "arm bears 0.914 Ω there it wears by 1.21 mΩ a day, standard uncertainty 0.04 mΩ (by 92 "
        "days from 2026-01-12 to 2026-05-01); if that goes on and nothing else changes, it passes "
        "that about 2028-04-06, by its 90 % interval from 2028-02-01 to 2028-06-17 (of simulated "
        "rings 95 % held to theirs, no real one was measured)"
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
                "(by 3 days from 2026-01-12 to 2026-05-01)"
            ),
        ),
        (
            replace(NONE_KNOWN, earliest="2170-01-01", reason="at this rate it …"),
            (
                "not known: at this rate it … (by 92 days from 2026-01-12 to 2026-05-01); it may "
                "be at 2170-01-01 already"
            ),
        ),
        (
            replace(NONE_KNOWN, earliest="2026-06-01", reason="at this rate it …"),
            "to 2026-05-01); it may have passed that ALREADY",
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
            replace(WORN, earliest="2026-06-01", latest=None),
            "no real one was measured); it may have passed that ALREADY",
        ),
        (
            replace(WORN, beyond=True),
            (
                "elbow's hop HAS MORE THAN THE ARM BEARS (by 92 days from 2026-01-12 to "
                "2026-05-01): with all joints in motion one may stop, and the arm with it. Look at "
                "its slip ring and plugs; its line passes that about 2028-04-06"
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
    told = "\n".join(hop_lines(replace(WEAR, hop=hop), date(2026, 6, 1)))
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


def test_where_nothing_is_recorded_yet_no_figures_are_told(
    url: str, past: _Past, capsys: pytest.CaptureFixture[str]
) -> None:
    past.history = replace(HISTORY, start_s=())
    past.wear = replace(WEAR, since_utc=None, on_s=0.0, moving_s=0.0, starts=0, reversals=0)
    assert run(["history", "elbow", "--url", url]) == 0
    assert capsys.readouterr().out == (
        "nothing is recorded of elbow yet: what it is and does is written every 10 s while it is "
        "heard\n"
    )


def test_how_often_it_is_written_is_told_as_it_is() -> None:
    assert WRITTEN_S == BATCH * SAMPLE_S


def test_what_took_seconds_is_told_in_seconds(
    url: str, past: _Past, capsys: pytest.CaptureFixture[str]
) -> None:
    past.history = replace(HISTORY, start_s=())
    past.wear = replace(WEAR, on_s=12.0, moving_s=0.0)
    assert run(["history", "elbow", "--url", url]) == 0
    told = capsys.readouterr().out
    assert told.startswith("nothing is known of elbow in that time\n")
    assert "heard for 12 s, turned for 0 s, 71204 starts" in told


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
        (["thumb"], "there is no joint 'thumb'; this arm has elbow"),
        (["el/bow"], "there is no joint 'el/bow'; this arm has elbow"),
        ([""], "there is no joint ''; this arm has elbow"),
        ([".."], "there is no joint '..'; this arm has elbow"),
        (["thumb", "--csv", "thumb.csv"], "there is no joint 'thumb'; this arm has elbow"),
        (
            ["elbow", "--from", "1960-01-01"],
            "--from is 1960-01-01T00:00:00+00:00, but must be from 1970 to 2200",
        ),
        (
            ["elbow", "--hop-since", "1960-01-01"],
            "--hop-since is 1960-01-01T00:00:00+00:00, but must be from 1970 to 2200",
        ),
        (
            ["elbow", "--hop-since", "2026-05-01", "--csv", "elbow.csv"],
            "--csv has nothing of how a hop wears: leave --hop-since out",
        ),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    url: str, capsys: pytest.CaptureFixture[str], arguments: list[str], says: str
) -> None:
    assert run(["history", *arguments, "--url", url]) == 2
    said = capsys.readouterr().err
    assert says in said
    assert "query" not in said
    assert len(said.splitlines()) == 1
