"""How much of the acceleration a stretch uses: what takes its first moves through soonest."""

from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coordinator.motion.blending import moves
from coordinator.motion.blending.legs import TRIED
from coordinator.motion.blending.lines import usual_share
from tests.bench.blending import program_of
from tests.coordinator.motion.blending.paths import planned

ROUNDING = 1e-4
"""Share of a duration that rounding each move to µs may add."""

PROGRAMS = given(
    seed=st.integers(0, 10**6),
    size_deg=st.sampled_from([2.0, 5.0, 20.0, 60.0]),
    tolerance_deg=st.sampled_from([0.02, 0.05, 0.1, 0.2, 0.5]),
)


def text_of(seed: int, size_deg: float, tolerance_deg: float) -> str:
    lines = program_of(Random(seed), size_deg, tolerance_deg).splitlines()
    return "\n".join(lines[:TRIED])


def usual_s(text: str) -> float:
    """How long it takes with the usual share."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(moves, "share_for", lambda legs, arm, most: (usual_share(arm, most), legs))
        return planned(text).duration_s


@settings(max_examples=12, deadline=None)
@PROGRAMS
def test_a_stretch_takes_no_longer_than_with_the_usual_share(
    seed: int, size_deg: float, tolerance_deg: float
) -> None:
    text = text_of(seed, size_deg, tolerance_deg)
    found = planned(text).duration_s
    assert found <= usual_s(text) * (1.0 + ROUNDING)


@settings(max_examples=12, deadline=None)
@PROGRAMS
def test_passing_corners_takes_no_longer_than_a_stop_at_each(
    seed: int, size_deg: float, tolerance_deg: float
) -> None:
    text = text_of(seed, size_deg, tolerance_deg)
    stops = planned(text.replace(f"G64 P{tolerance_deg}", "G61.1"))
    assert planned(text).duration_s <= stops.duration_s * (1.0 + ROUNDING)


def test_long_moves_at_a_small_tolerance_use_all_of_the_acceleration() -> None:
    text = text_of(1, 60.0, 0.2)
    assert planned(text).duration_s < 0.9 * usual_s(text)
