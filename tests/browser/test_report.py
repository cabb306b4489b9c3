"""What a report's sentences say on the page; the module runs in the browser, alone."""

from typing import Any

import pytest
from playwright.sync_api import Page

from tests.browser import canned
from tests.browser.conftest import Feed, Open


@pytest.fixture
def page(open_page: Open, files: str) -> Page:
    return open_page(files, before=Feed(canned.whole()).attach)


@pytest.mark.parametrize(
    ("path_us", "apart_us", "says"),
    [
        ({"base": 5, "middle": 5, "tip": 5}, 0, "joints 0\u00a0µs of path time apart"),
        (
            {"base": 5, "middle": 805, "tip": None},
            800,
            "path time of tip not known, the other joints 800\u00a0µs apart",
        ),
        ({"base": 5, "tip": None}, 0, "path time of tip not known"),
    ],
)
def test_a_hold_names_the_joints_of_which_nobody_knows_where_they_rest(
    page: Page, path_us: dict[str, Any], apart_us: int, says: str
) -> None:
    apart = """async (hold) => (await import("/app/report.js")).apart(hold)"""
    assert page.evaluate(apart, {"path_us": path_us, "apart_us": apart_us}) == says


def test_a_report_tells_starts_holds_and_speeds_in_order_of_time(page: Page) -> None:
    start = {
        "start_skew_us": 80, "start_skew_max_us": 900, "attempts": 1, "start_delay_us": 230_000,
    }  # fmt: skip
    hold = {
        "cause": "tip is offline",
        "path_us": {"base": 5},
        "apart_us": 0,
        "unconfirmed": ["tip"],
    }
    report = {
        "starts": [start | {"at_us": 1, "path_us": 0}, start | {"at_us": 9, "path_us": 5}],
        "holds": [hold | {"at_us": 4}],
        "overrides": [{"at_us": 9, "percent": 50}, {"at_us": 2, "percent": 80}],
    }
    happened = """async (report) => (await import("/app/report.js")).happened(report)"""
    told = page.evaluate(happened, report)
    assert [(one["atUs"], one["what"]) for one in told] == [
        (1, "Start"), (2, "Speed"), (4, "Hold"), (9, "Speed"), (9, "Resume")
    ]  # fmt: skip
    assert told[2]["told"] == (
        "tip is offline; joints 0\u00a0µs of path time apart; rest not confirmed by tip"
    )
