"""Many short moves: looking ahead takes as long for each of them, and finds the same."""

import math
from collections.abc import Sequence
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coordinator.motion.blending import speeds
from coordinator.motion.blending.corners import Move, Straying, straying
from coordinator.motion.blending.nearby import Nearby
from coordinator.motion.moves import speeds_of
from coordinator.motion.plan import parts_from
from coordinator.motion.route import pose_of
from coordinator.programs import parse_program
from tests.coordinator.motion.blending.paths import ARM


def curve(lines: int, apart_s: float, shaken_deg: float, head: str, seed: int = 1) -> str:
    """A smooth curve in short lines, each end shaken a little, and now and then a sharp corner."""
    random = Random(seed)
    text = [head, "F1200 G1 A0 B0 C0"]
    for k in range(lines):
        t = k * apart_s
        sharp = 0.05 if random.random() < 0.01 else 0.0
        a, b, c = (random.uniform(-1.0, 1.0) * (shaken_deg + sharp) for _ in range(3))
        text.append(
            f"A{20 * math.sin(t * 0.31) + a:.4f} B{20 * math.cos(t * 0.27) - 20 + b:.4f} "
            f"C{15 * math.sin(t * 0.5) + c:.4f}"
        )
    return "\n".join([*text, "M2"])


def looked_ahead(text: str) -> list[object]:
    start = pose_of(ARM, ARM.poses["park"])
    parts = parts_from(parse_program(text, ARM.letters), ARM, start)
    return [speeds_of(part.legs(), ARM) for part in parts]


@settings(max_examples=8, deadline=None)
@given(
    seed=st.integers(0, 10**6),
    apart_s=st.sampled_from([0.2, 0.02, 0.002]),
    shaken_deg=st.sampled_from([0.0, 0.003, 0.3]),
    tolerance=st.sampled_from(["G64 P0.05", "G64 P0.5", "G64 P2", "G61"]),
)
def test_the_quick_bound_is_never_below_the_bound_itself(
    seed: int, apart_s: float, shaken_deg: float, tolerance: str
) -> None:
    asked = 0

    class Checked(Nearby):
        def most_deg(self, moves: Sequence[Move], times_s: Sequence[float], at: int) -> float:
            nonlocal asked
            most = super().most_deg(moves, times_s, at)
            found = straying(moves, at, self._width_s)
            asked += 1
            assert min(found.by_speed + found.by_acceleration, found.by_distance) <= most
            return most

    text = curve(300, apart_s, shaken_deg, tolerance, seed)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(speeds, "Nearby", Checked)
        looked_ahead(text)
    assert asked


def test_lines_a_hundred_to_the_window_are_looked_at_one_by_one_only_now_and_then(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    calls = 0

    def counted(moves: Sequence[Move], at: int, width_s: float) -> Straying:
        nonlocal calls
        calls += 1
        return straying(moves, at, width_s)

    monkeypatch.setattr(speeds, "straying", counted)
    looked_ahead(curve(2_000, 0.001, 0.0, "G64 P1"))
    assert calls < 2_000 / 5
