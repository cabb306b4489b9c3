"""A link that becomes longer one way in mid-run: neither the run nor its report takes harm."""

import pytest

from tests.lab.judge_delays import Change, as_before, delayed_from, delayed_to, wrong_with
from tests.lab.lab import Lab
from tests.lab.scale import often


@pytest.mark.parametrize("then", often([delayed_to], [delayed_to, delayed_from]))
def test_delay_one_way_that_begins_in_mid_run_stops_no_joint_alone(lab: Lab, then: Change) -> None:
    assert wrong_with(lab, as_before, then) == []


@pytest.mark.parametrize("then", [as_before, delayed_to])
@pytest.mark.parametrize("before", often([delayed_to], [delayed_to, delayed_from]))
def test_delay_one_way_from_the_start_stops_no_joint_alone_and_makes_no_report_false(
    lab: Lab, before: Change, then: Change
) -> None:
    assert wrong_with(lab, before, then) == []


def test_a_start_that_cannot_be_proved_to_be_together_is_refused_with_the_joint(lab: Lab) -> None:
    """The arm file allows 20 ms, as it does where it says nothing."""
    delayed_to(lab)
    lab.serve()
    lab.until_ready()
    since = len(lab.truths())
    report = lab.until_ended(lab.begin(lab.far()))
    assert report["outcome"] == "refused"
    assert report["message"].startswith("elbow: its clock is known to ±")
    assert "skew_limit_ms" in report["message"]
    assert [line for line in lab.truths()[since:] if line["event"] == "start"] == []
