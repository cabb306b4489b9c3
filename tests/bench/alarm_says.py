"""What joints say in a shift, by the simulator's physics, without drives, sockets or coordinator.

Heat with its fan, supply, crystal and link noise are those of the software joints' world, a stretch
of time at once: temperatures and volts that are read once a second, and exchanges as often as a
joint at rest or in motion is asked. What a link does is drawn for a whole stretch together, by the
law of `simulator.network.Link`; two things are taken otherwise, both to the worse: no frame
overtakes another, and none is doubled.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from random import Random

import numpy as np
from numpy.typing import NDArray

from protocol.constants import ACTIVE_INTERVAL_US, IDLE_INTERVAL_US, US
from simulator.joint.safety import FAN_OFF_CENTI_C, FAN_ON_CENTI_C
from simulator.network import BACK_MEDIAN, BACK_TAIL, HELD_BACK_MS, MS, STEP_US, Profile
from simulator.physics.clock import JointOscillator
from simulator.physics.heat import Thermal, code_to_celsius, sensor_code
from simulator.settings import JointSettings
from simulator.unit import SKEW_PPM, UPTIME_US
from tests.bench.alarm_work import AROUND_US, USUAL, Ints, Work, watts

LOST = -1
CODES_MV = 1_000


@dataclass(frozen=True)
class Said:
    """What one joint said in a stretch of time. Instants are true µs, which is arm time here."""

    sent_us: Ints
    """By exchange, like the next two; as they were sent."""
    there_us: Ints
    """When it came to the joint, `LOST` where it did not."""
    answered_us: Ints
    """When its answer came back, `LOST` where it did not."""
    read_us: Ints
    """By reading, like the next three: one a second."""
    centi_c: Ints
    supply_mv: Ints
    fan: NDArray[np.bool_]

    def after(self, earlier: "Said") -> "Said":
        """With what it had said before that."""
        return Said(
            *(
                np.concatenate((getattr(earlier, name), getattr(self, name)))
                for name in Said.__dataclass_fields__
            )
        )

    def last(self, for_us: int) -> "Said":
        """The end of it."""
        from_us = int(self.sent_us[-1]) - for_us
        sent, read = self.sent_us >= from_us, self.read_us >= from_us
        return Said(
            self.sent_us[sent],
            self.there_us[sent],
            self.answered_us[sent],
            self.read_us[read],
            self.centi_c[read],
            self.supply_mv[read],
            self.fan[read],
        )


@dataclass(frozen=True, slots=True)
class While:
    """Something is otherwise from an instant to just before another."""

    from_us: int
    to_us: int
    value: float = 0.0

    def of(self, at_us: Ints) -> NDArray[np.bool_]:
        """Which of these instants are in it."""
        return (at_us >= self.from_us) & (at_us < self.to_us)


@dataclass(slots=True)
class Upset:
    """What befalls a joint in a shift."""

    lost: list[While] = field(default_factory=list)
    volts: list[While] = field(default_factory=list)
    codes: list[While] = field(default_factory=list)
    """Of the temperature sensor."""
    warms: list[tuple[While, Callable[[float], float]]] = field(default_factory=list)
    """By how much it is above its warning, by the seconds since then."""
    back_us: list[int] = field(default_factory=list)
    """When it is there again, in a new boot."""


class Speaker:
    """One joint from `begin_us` on, which is asked for one stretch after another."""

    def __init__(
        self,
        settings: JointSettings,
        profile: Profile,
        warning_c: float,
        begin_us: int,
        volts: tuple[float, float],
        work: Work = USUAL,
    ) -> None:
        """`volts` at rest and in motion."""
        if profile.outages_per_minute or profile.beacon_ms or profile.power_save_probability:
            raise ValueError("a link with outages of its own, or that sleeps, is not made here")
        random = Random(settings.seed)
        self.settings = settings
        self.upset = Upset()
        self.passed_us: dict[int, int] = {}
        """When it truly passed its warning, by when what warmed it began."""
        self.clock = JointOscillator(
            random.uniform(1.0, UPTIME_US) - begin_us,
            random.uniform(-SKEW_PPM, SKEW_PPM),
            random.getrandbits(32),
            start_us=float(begin_us),
        )
        self._profile = profile
        self._warning_c = warning_c
        self._begin_us = begin_us
        self._draw = np.random.default_rng(random.getrandbits(64))
        self._phase_us = random.randrange(US)
        self._thermal = Thermal(settings.ambient_c, settings.heat, start_us=begin_us)
        self._warmer_c = 0.0
        self._fan = False
        self._gain = 1.0 + settings.supply_gain_error
        self._volts = volts
        self._work = work
        self._came_us = [0, 0]
        """When the last frame came, of each way."""

    def says(self, begin_us: int, end_us: int, ambient_c: float | None = None) -> Said:
        """What it says until `end_us`; stretches follow each other without a gap."""
        sent_us = self._asked(begin_us, end_us)
        there_us, answered_us = self._exchanges(sent_us)
        first = -(-(begin_us - self._phase_us) // US)
        read_us = np.arange(first * US + self._phase_us, end_us, US, dtype=np.int64)
        if ambient_c is not None:
            self._thermal.set_ambient(begin_us, ambient_c)
        centi_c, fan = self._temperatures(begin_us, end_us, read_us)
        return Said(sent_us, there_us, answered_us, read_us, centi_c, self._supply_mv(read_us), fan)

    def moves(self, at_us: Ints) -> NDArray[np.bool_]:
        """At which of these instants it moves."""
        return self._work.moves(at_us - self._begin_us)

    # ---- what it is asked, and when that comes there and back ---------------------------------

    def _asked(self, begin_us: int, end_us: int) -> Ints:
        first = -(-(begin_us - self._begin_us) // ACTIVE_INTERVAL_US)
        at_us = np.arange(
            self._begin_us + first * ACTIVE_INTERVAL_US, end_us, ACTIVE_INTERVAL_US, dtype=np.int64
        )
        since_us = at_us - self._begin_us
        asked = (since_us % IDLE_INTERVAL_US == 0) | self._work.moves(since_us, AROUND_US)
        for back_us in (self._begin_us, *self.upset.back_us):  # a link that is not measured yet
            asked |= (at_us >= back_us) & (at_us < back_us + 8 * US)
        found: Ints = at_us[asked]
        return found

    def _exchanges(self, sent_us: Ints) -> tuple[Ints, Ints]:
        cut = np.zeros(len(sent_us), dtype=bool)
        for upset in self.upset.lost:
            cut |= upset.of(sent_us)
        profile = self._profile
        there_us = sent_us + self._delays_us(len(sent_us), back=False)
        back_us = there_us + self._delays_us(len(sent_us), back=True)
        bad = self._bad(np.stack([sent_us, there_us], axis=1).ravel()).reshape(-1, 2)
        share = np.where(bad, profile.loss_bad, profile.loss_good)
        lost = self._draw.random(bad.shape) < share
        lost[:, 0] |= cut
        lost[:, 1] |= lost[:, 0]
        for upset in self.upset.lost:
            lost[:, 1] |= upset.of(there_us)
        return (
            self._in_order(0, there_us, lost[:, 0]),
            self._in_order(1, back_us, lost[:, 1]),
        )

    def _in_order(self, way: int, comes_us: Ints, lost: NDArray[np.bool_]) -> Ints:
        came_us = np.maximum.accumulate(np.where(lost, self._came_us[way], comes_us))
        came_us = np.maximum(came_us, self._came_us[way])
        if len(came_us):
            self._came_us[way] = int(came_us[-1])
        return np.where(lost, LOST, came_us)

    def _bad(self, at_us: Ints) -> NDArray[np.bool_]:
        """The chain's state at these instants: after n steps it is what it was with a chance of
        (1 − p − q)ⁿ, and otherwise drawn anew from its mean share (the law of `Link`).
        """
        profile = self._profile
        leaving = profile.good_to_bad + profile.bad_to_good
        share = profile.good_to_bad / leaving if leaving else 0.0
        steps = np.maximum(np.diff(at_us // STEP_US, prepend=at_us[:1] // STEP_US), 0)
        anew = self._draw.random(len(at_us)) >= (1.0 - leaving) ** steps
        anew[:1] = True
        drawn_at = np.maximum.accumulate(np.where(anew, np.arange(len(at_us)), 0))
        drawn: NDArray[np.bool_] = self._draw.random(len(at_us)) < share
        return drawn[drawn_at]

    def _delays_us(self, count: int, *, back: bool) -> Ints:
        profile, draw = self._profile, self._draw
        base_ms = profile.base_back_ms if back else profile.base_forward_ms
        median_ms = profile.median_ms * (BACK_MEDIAN if back else 1.0)
        delay_ms = base_ms + median_ms * np.exp(profile.sigma * draw.standard_normal(count))
        tail = profile.tail_probability * (BACK_TAIL if back else 1.0)
        late = draw.random(count) < tail
        delay_ms[late] += draw.exponential(profile.tail_mean_ms, int(late.sum()))
        if back:
            held = draw.random(count) < profile.held_back_probability
            delay_ms[held] += draw.uniform(*HELD_BACK_MS, int(held.sum()))
        return (MS * delay_ms).astype(np.int64)

    # ---- what it reads ------------------------------------------------------------------------

    def _temperatures(
        self, begin_us: int, end_us: int, read_us: Ints
    ) -> tuple[Ints, NDArray[np.bool_]]:
        """What it reads at these instants, and whether it has its fan run by that."""
        centi_c = np.zeros(len(read_us), dtype=np.int64)
        fans = np.zeros(len(read_us), dtype=bool)
        noise_c = self._draw.normal(0.0, self.settings.noise_c, len(read_us)).tolist()
        since_us = self._begin_us
        changes = list(self._work.changes(begin_us - since_us, end_us - since_us))[::-1]
        for k, at_us in enumerate(read_us.tolist()):
            while changes and since_us + changes[-1][0] <= at_us:
                after_us, moves = changes.pop()
                self._heats(since_us + after_us, moves=moves)
            true_c = self._warmed_c(at_us, self._thermal.temperature(at_us))
            code = sensor_code(true_c + noise_c[k])
            for upset in self.upset.codes:
                if upset.from_us <= at_us < upset.to_us:
                    code = round(upset.value)
            centi = round(100.0 * code_to_celsius(code))
            fan = centi >= (FAN_OFF_CENTI_C if self._fan else FAN_ON_CENTI_C)
            if fan is not self._fan:
                self._fan = fan
                self._thermal.set_fan(at_us, fan)
            centi_c[k], fans[k] = centi, fan
        for after_us, moves in reversed(changes):
            self._heats(since_us + after_us, moves=moves)
        return centi_c, fans

    def _heats(self, at_us: int, *, moves: bool) -> None:
        self._thermal.set_power(at_us, watts(self.settings)[moves], self.settings.idle_watts)

    def _warmed_c(self, at_us: int, true_c: float) -> float:
        """With what warms it from outside."""
        begun = [one for one in self.upset.warms if one[0].from_us <= at_us]
        if not begun:
            return true_c
        span, above_c = max(begun, key=lambda one: one[0].from_us)
        on = at_us < span.to_us
        if on or self._warmer_c > 0.0:
            wanted_c = self._warning_c + above_c((at_us - span.from_us) / US) if on else 0.0
            self._warmer_c = warmer_c(
                self._warmer_c, true_c + self._warmer_c, wanted_c, self._warning_c
            )
            if true_c + self._warmer_c > self._warning_c:
                self.passed_us.setdefault(span.from_us, at_us)
        return true_c + self._warmer_c

    def _supply_mv(self, read_us: Ints) -> Ints:
        rest_v, moving_v = self._volts
        volts = np.where(self.moves(read_us), moving_v, rest_v)
        for upset in self.upset.volts:
            volts[upset.of(read_us)] = upset.value
        volts += self._draw.normal(0.0, self.settings.supply_noise_v, len(volts))
        read: Ints = np.maximum(0, np.rint(volts * self._gain * CODES_MV)).astype(np.int64)
        return read


def warmer_c(warmer: float, now_c: float, wanted_c: float, warning_c: float) -> float:
    """Heat from outside a second later, on the way to a temperature beside the warning.

    It comes near at 2 °C/s, which is not a joint's way but is believed of one still, and passes
    the warning at 0.1 °C/s.
    """
    step_c = 2.0 if now_c < warning_c - 4.0 else 0.1
    return max(0.0, warmer + min(max(wanted_c - now_c, -step_c), step_c))
