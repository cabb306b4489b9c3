"""80 ms more one way of one link: what may become of an arm, and what its report may say.

The arm file allows so much (`allowing`): what is judged here is how joints rest, and what is
stated.
"""

import contextlib
from collections.abc import Callable, Iterator
from typing import Final

from tests.e2e.harness import until
from tests.lab.judge import estimates_off, rests_apart
from tests.lab.lab import Lab
from tests.lab.scale import often

MORE_MS: Final = 80.0
MOVES_US: Final = often(4_000_000, 15_000_000)
"""Path time from the change on: a clock map goes out every second."""

Change = Callable[[Lab], None]


def delayed_to(lab: Lab) -> None:
    """More on the way to the elbow."""
    lab.link("elbow").delay(to_joint_ms=MORE_MS)


def delayed_from(lab: Lab) -> None:
    """More on the way from the elbow."""
    lab.link("elbow").delay(from_joint_ms=MORE_MS)


def as_before(lab: Lab) -> None:
    """No more delay."""
    lab.link("elbow").restore()


@contextlib.contextmanager
def allowing(lab: Lab, skew_limit_ms: float) -> Iterator[None]:
    """An arm file that allows joints to be so far apart; for the coordinators that begin then."""
    text = lab.arm.read_text()
    lab.arm.write_text(f"skew_limit_ms = {skew_limit_ms}\n{text}")
    try:
        yield
    finally:
        lab.arm.write_text(text)


def wrong_with(lab: Lab, before: Change, then: Change) -> list[str]:
    """Play with a link as before, change it in mid-run; all that must not be, in words."""
    with allowing(lab, 3 * MORE_MS):
        return _wrong_with(lab, before, then)


def _wrong_with(lab: Lab, before: Change, then: Change) -> list[str]:
    before(lab)
    # From the first exchange on: a coordinator that has known the link otherwise knows more.
    lab.serve()
    lab.until_ready()
    run, since = lab.moves()
    early = lab.report(run)
    then(lab)
    goal_us = lab.arm_now()["run"]["path_us"] + MOVES_US

    def over() -> bool:
        found = lab.arm_now()["run"]
        return found is None or found["phase"] == "held" or found["path_us"] >= goal_us

    until(over, "the run further on")
    wrong = rests_apart(lab, run, since)
    lab.rest()
    for report in (early, lab.report(run)):
        wrong += estimates_off(lab, report, since)
    return wrong
