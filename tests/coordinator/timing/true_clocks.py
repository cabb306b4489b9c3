"""True joint clocks, exact to the last digit, and exchanges with them as a network makes them."""

from bisect import bisect_right
from dataclasses import dataclass
from fractions import Fraction

from hypothesis import strategies as st

from coordinator.timing.exchange import Exchange

PPM = 1_000_000


@dataclass(frozen=True)
class TrueClock:
    """Joint time as a function of arm time: from each instant on, another rate (in ppm)."""

    offset_us: int
    pieces: tuple[tuple[int, int], ...]
    """(from which arm time in µs, rate in ppm), the first from arm time 0; before that rate 0."""

    def joint(self, arm_us: int | Fraction) -> Fraction:
        gained = Fraction(0)
        for k, (start_us, rate_ppm) in enumerate(self.pieces):
            end_us = self.pieces[k + 1][0] if k + 1 < len(self.pieces) else arm_us
            gained += Fraction(rate_ppm, PPM) * max(min(end_us, arm_us) - start_us, 0)
        return self.offset_us + arm_us + gained

    def offset(self, arm_us: int) -> Fraction:
        return self.joint(arm_us) - arm_us

    def arm(self, joint_us: int) -> Fraction:
        starts = [self.joint(start_us) for start_us, _ in self.pieces]
        k = bisect_right(starts, joint_us) - 1
        if k < 0:
            return Fraction(joint_us - self.offset_us)
        start_us, rate_ppm = self.pieces[k]
        return start_us + (joint_us - starts[k]) / (1 + Fraction(rate_ppm, PPM))

    def exchange(self, sent_us: int, out_us: int, held_us: int, back_us: int) -> Exchange:
        """An exchange with these times for the way out, in the joint and back, in arm time."""
        received_us = sent_us + out_us
        answered_us = received_us + held_us
        return Exchange(
            sent_us,
            -(-self.joint(received_us) // 1),
            self.joint(answered_us) // 1,
            answered_us + back_us,
        )


def clocks(drift_ppm: int) -> st.SearchStrategy[TrueClock]:
    """Clocks that keep a drift bound, but otherwise change their rate as they like."""
    lengths = st.integers(1, 60_000_000)
    rates = st.integers(-drift_ppm, drift_ppm)

    def build(offset_us: int, parts: list[tuple[int, int]]) -> TrueClock:
        starts, at_us = [], 0
        for length_us, rate_ppm in parts:
            starts.append((at_us, rate_ppm))
            at_us += length_us
        return TrueClock(offset_us, tuple(starts))

    return st.builds(
        build,
        st.integers(-(10**15), 10**15),
        st.lists(st.tuples(lengths, rates), min_size=1, max_size=6),
    )


# Mostly what links do, now and then far worse.
delays_us = st.one_of(st.integers(0, 5_000), st.integers(0, 2_000_000))


@st.composite
def histories(draw: st.DrawFn, drift_ppm: int = 100) -> tuple[TrueClock, list[Exchange]]:
    """A clock within its bound and exchanges with it over up to 100 s, in the order answered."""
    clock = draw(clocks(drift_ppm))
    sent_us = draw(st.lists(st.integers(0, 100_000_000), min_size=1, max_size=30))
    exchanges = [
        clock.exchange(at_us, draw(delays_us), draw(st.integers(0, 2_000)), draw(delays_us))
        for at_us in sent_us
    ]
    return clock, sorted(exchanges, key=lambda exchange: exchange.t4_us)
