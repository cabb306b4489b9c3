"""One joint's heat: fed with what its statuses say, asked for figures and times left."""

from dataclasses import replace
from itertools import accumulate
from typing import Final

from coordinator.health.heat_fan import FanWatch
from coordinator.health.heat_figures import figures, within
from coordinator.health.heat_filter import REFERENCE_C, HeatFilter, T
from coordinator.health.heat_forecast import SURE, Outlook, outlook
from coordinator.health.heat_load import PresentLoad
from coordinator.health.heat_report import NOT_YET, SILENT, HeatReport, TimeLeft
from protocol.constants import US

BIN_S: Final = 20.0
"""Readings are taken together for so long: joints warm by tenths of a degree in it."""
GAP_S: Final = 60.0
"""After such a silence nobody knows what load there was."""
LEAST_S: Final = 180.0
"""Of readings in one piece, before anything is told."""
AHEAD_S: Final = 600.0
STEPS_S: Final[list[float]] = [20.0] * 36 + [60.0] * 48 + [300.0] * 60
"""Of an outlook, closely at first: together six hours."""
WIDEST_C: Final = 5.0
"""A 90 % interval that reaches further to either side tells nobody anything."""


class HeatModel:
    """What is learnt of one joint, in a fixed memory."""

    def __init__(self, rest_load: float = 0.0) -> None:
        """`rest_load`: its load at rest with its motor held, as a share of that at run current."""
        self._rest_load = rest_load
        self._filter = HeatFilter()
        self._load = PresentLoad()
        self._fan = FanWatch()
        self._begun_us: int | None = None
        """Since when readings came without a gap."""
        self._taken_us = 0
        self._count = 0
        self._sums = [0.0, 0.0, 0.0, 0.0]
        """Of what is in the bin: time in s since it began, T, load, fan."""
        self._bin_us = 0
        self._last: list[float] | None = None
        """Of the last bin: the same, with arm time in s, as means; and the present load then."""
        self._report: HeatReport = NOT_YET
        self._is_new = False

    def observe(self, now: int, celsius: float | None, load: float, fan_percent: int) -> None:
        """A status: a temperature that is believed, or None; the load as a share; the fan."""
        if celsius is None:
            return
        if self._begun_us is None or now - self._taken_us > GAP_S * US or now < self._taken_us:
            self._begin(now)
        self._taken_us = now
        self._load.take(now / US, load)
        self._is_new |= self._fan.take(celsius, fan_percent / 100)
        for k, value in enumerate(
            ((now - self._bin_us) / US, celsius - REFERENCE_C, load, fan_percent / 100)
        ):
            self._sums[k] += value
        self._count += 1
        if now - self._bin_us >= BIN_S * US:
            self._close(now)

    def report(self, now: int, warning_c: float, limit_c: float) -> HeatReport:
        """All that can be told, or why not; made anew once a bin at most."""
        begun_us = self._begun_us
        if self._last is None or begun_us is None or now - begun_us < LEAST_S * US:
            return NOT_YET
        if now - self._taken_us > GAP_S * US:
            return SILENT
        if self._is_new:
            self._is_new = False
            self._report = self._made(now, warning_c, limit_c)
        return self._report

    def outlook(self, now: int, *, only_seen: bool = False) -> Outlook | None:
        """Temperatures to come at the present load, in s from now on; None before any reading.

        `only_seen`: the fan does no more than it was seen to do, whatever is usual.
        """
        if self._last is None:
            return None
        lag_s = now / US - self._last[0]
        steps_s = [max(lag_s, 0.01), *STEPS_S]
        fan, present, known = self._fan, self._load, self._filter
        found = outlook(
            known.mean, known.covariance, present.mean, present.variance, fan.share or 0.0,
            fan.seen if only_seen else fan.likely, fan.seen, steps_s,
        )  # fmt: skip
        # Whole steps, which sums of fractions are not.
        return found._replace(at_s=list(accumulate(STEPS_S, initial=0.0)))

    # ---- inside -----------------------------------------------------------------------------

    def _begin(self, now: int) -> None:
        if self._begun_us is not None:
            self._filter.interrupt()
            self._load = PresentLoad()
        self._begun_us = self._bin_us = now
        self._last, self._count, self._sums = None, 0, [0.0, 0.0, 0.0, 0.0]

    def _close(self, now: int) -> None:
        """A bin is full: from the middle of the last one to the middle of this one."""
        at_s, above_c, load, fan = [total / self._count for total in self._sums]
        at_s += self._bin_us / US
        present = self._load.mean
        last, known = self._last, self._filter
        if last is None:
            known.mean[T] = above_c
        else:
            known.step(
                at_s - last[0], (load + last[2]) / 2, (fan + last[3]) / 2, (above_c + last[1]) / 2,
                present - last[4],
            )  # fmt: skip
        known.read(above_c)
        self._last = [at_s, above_c, load, fan, present]
        self._bin_us, self._count, self._sums = now, 0, [0.0, 0.0, 0.0, 0.0]
        self._is_new = True

    def _made(self, now: int, warning_c: float, limit_c: float) -> HeatReport:
        # Of time left nothing calmer may be told than what was seen: no fan that may not come.
        ahead = self.outlook(now, only_seen=True)
        if ahead is None:
            return NOT_YET
        k = ahead.at_s.index(AHEAD_S)
        if SURE * ahead.deviation_c[k] > WIDEST_C:
            return HeatReport(
                f"in ten minutes it would be known to ±{SURE * ahead.deviation_c[k]:.0f} °C only; "
                "it must be watched for longer, resting and moving"
            )
        likely = ahead if self._fan.likely == self._fan.seen else self.outlook(now)
        if likely is None:
            return NOT_YET
        deviation_c, why_not = likely.deviation_c[k], ""
        hangs_on_fan = SURE * deviation_c > WIDEST_C
        if hangs_on_fan:
            why_not = "how warm it is in ten minutes hangs on its fan, which was not seen to switch"
        seen = self._fan.seen
        told, missing = figures(
            self._filter,
            self._fan.share or 0.0,
            self._load.mean,
            self._rest_load,
            limit_c,
            fan_seen=seen.has_switched,
        )
        why_not = " and ".join(why for why in (why_not, missing) if why)
        return replace(
            told,
            why_not=why_not,
            ten_minutes_c=None if hangs_on_fan else within(likely.likely_c[k], deviation_c, 1),
            warning=_left(ahead, warning_c),
            limit=_left(ahead, limit_c),
            fan_on_c=_rounded(seen.on_c),
            fan_off_c=_rounded(seen.off_c),
        )


def _left(ahead: Outlook, at_c: float) -> TimeLeft:
    """When a temperature is reached: likely, at the soonest and at the latest."""
    times: list[float | None] = []
    for sign in (0.0, SURE, -SURE):
        times.append(None)
        for k, likely_c in enumerate(ahead.likely_c):
            if likely_c + sign * ahead.deviation_c[k] >= at_c:
                times[-1] = round(max(ahead.at_s[k], 0.0))
                break
    return TimeLeft(*times)


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, 1)
