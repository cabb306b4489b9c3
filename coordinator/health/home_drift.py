"""How much a joint's home scatters and drifts with temperature, and its sensor's hysteresis.

Made of homings that can be compared, and of those of one reference with each other (`home_state`).
"""

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from math import copysign, fsum, inf, sqrt
from typing import Final

from coordinator.health.home_state import FoundHome, HomeState, Passage, after

LEAST_HOMINGS: Final = 5
"""In a row: of five, a standard deviation is uncertain by a third of itself, of two by most."""
LEAST_SPAN_C: Final = 5.0
"""Less hardly tells a drift from scatter."""


@dataclass(frozen=True, slots=True)
class HomePlace:
    """Where one homing found a joint's home, beside other homings of it."""

    homing: int
    utc: str | None
    """When the homing ended."""
    temperature_c: float | None
    """At the joint's driver as it found home; None where it is not known."""
    shift_deg: float | None
    """From where it was before; None where the joint was not homed as it began."""
    reference: int
    """The homing that it is compared with; itself where there is none."""
    since_reference_deg: float
    """How far home is from where that one found it."""
    rising_deg: float | None
    """Where the rising edge was met slowly, from home as the reference found it."""
    falling_deg: float | None
    """The same of the falling edge."""
    hysteresis_deg: float | None
    """How much later an edge was met in the direction of travel, than the same edge the other way:
    the mean of both edges; None where none was recorded both ways."""
    level_deg: float | None = None
    """How far home is from the level of its reference's homings, as the drift has that at the mean
    temperature: what is drawn over temperature. None where it has no part in the drift."""
    controller: str | None = None
    """The id of the controller that found it; None, as the next, where it was not kept."""
    figures: str | None = None
    """What a place depends on, as the joint was told it, in words."""


@dataclass(frozen=True, slots=True)
class HomeFigure:
    """A figure with its standard uncertainty, or why there is none."""

    value: float | None
    uncertainty: float | None
    homings: int
    """How many it is made of."""
    why: str
    """Why there is none; empty where there is one."""


@dataclass(frozen=True, slots=True)
class HomeFigures:
    """Of homings of one controller with the figures that it has now."""

    rising_deviation_deg: HomeFigure
    """Standard deviation of where the rising edge is met slowly: its repeatability."""
    falling_deviation_deg: HomeFigure
    hysteresis_deg: HomeFigure
    """Mean of what the homings found; the joint's play is in it."""
    drift_deg_per_c: HomeFigure
    """How far home goes with each °C at the driver (least squares)."""


def places_of(homings: Sequence[FoundHome], accepted: Collection[int] = ()) -> list[HomePlace]:
    """Where homings found home, oldest first as they come. `accepted`: references by decision."""
    places: list[HomePlace] = []
    state: HomeState | None = None
    for one in homings:
        state = after(state, one, inf)
        if one.homing in accepted:
            state = state.accepted()
        since_deg = state.since_reference_deg
        rising, falling = _slow(one.passages, rising=True), _slow(one.passages, rising=False)
        places.append(
            HomePlace(
                one.homing,
                one.utc,
                one.temperature_c,
                one.shift_deg,
                state.reference,
                since_deg,
                None if rising is None else since_deg + rising,
                None if falling is None else since_deg + falling,
                _hysteresis_deg(one.passages),
                controller=one.controller,
                figures=one.figures,
            )
        )
    return places


def anchored(places: list[HomePlace], state: HomeState | None) -> list[HomePlace]:
    """The same, where the first of them had a reference that is older than all of them.

    `state` is a joint's home as the newest of them left it.
    """
    if not places or state is None or state.homing != places[-1].homing:
        return places
    first, last = places[0], places[-1]
    if last.reference != first.homing or state.reference >= first.homing:
        return places
    by_deg = state.since_reference_deg - last.since_reference_deg

    def moved(deg: float | None) -> float | None:
        return None if deg is None else deg + by_deg

    return [
        replace(
            one,
            reference=state.reference,
            since_reference_deg=one.since_reference_deg + by_deg,
            rising_deg=moved(one.rising_deg),
            falling_deg=moved(one.falling_deg),
        )
        if one.reference == first.homing
        else one
        for one in places
    ]


def figures_of(homings: Sequence[FoundHome], places: Sequence[HomePlace]) -> HomeFigures:
    """Figures of the homings that are of the newest one's controller and figures."""
    like = _like_the_newest(homings, places)
    return HomeFigures(
        _deviation((place.reference, place.rising_deg) for place in like),
        _deviation((place.reference, place.falling_deg) for place in like),
        _mean([one.hysteresis_deg for one in like if one.hysteresis_deg is not None]),
        _slope(like),
    )


def levelled(
    homings: Sequence[FoundHome], places: Sequence[HomePlace], slope_deg_per_c: float | None
) -> list[HomePlace]:
    """The same with `level_deg`; without a slope about the mean of each reference's homings."""
    slope, like = slope_deg_per_c or 0.0, _like_the_newest(homings, places)
    kept = _warm_groups(like)
    if not kept:
        return list(places)
    temperatures = [at for group in kept.values() for at, _ in group]
    mean_c = fsum(temperatures) / len(temperatures)
    levels = {}
    for reference, group in kept.items():
        own_c, own_deg = (fsum(column) / len(group) for column in zip(*group, strict=True))
        levels[reference] = own_deg - slope * (own_c - mean_c)
    found = {one.homing for one in like}
    return [
        replace(one, level_deg=one.since_reference_deg - levels[one.reference])
        if one.homing in found and one.temperature_c is not None and one.reference in levels
        else one
        for one in places
    ]


def _like_the_newest(homings: Sequence[FoundHome], places: Sequence[HomePlace]) -> list[HomePlace]:
    """Those of the newest one's controller and figures."""
    return [
        place
        for one, place in zip(homings, places, strict=True)
        if (one.controller, one.figures) == (homings[-1].controller, homings[-1].figures)
    ]


def _warm_groups(places: Iterable[HomePlace]) -> dict[int, list[tuple[float, float]]]:
    """Temperature and home by reference, of those that have another one to be compared with."""
    groups: dict[int, list[tuple[float, float]]] = defaultdict(list)
    for one in places:
        if one.temperature_c is not None:
            groups[one.reference].append((one.temperature_c, one.since_reference_deg))
    return {reference: group for reference, group in groups.items() if len(group) > 1}


def _slow(passages: Iterable[Passage], *, rising: bool) -> float | None:
    found = [one.from_middle_deg for one in passages if one.rising is rising and not one.fast]
    return found[-1] if found else None


def _hysteresis_deg(passages: Sequence[Passage]) -> float | None:
    begin = _slow(passages, rising=True)
    if begin is None:
        return None
    # The search goes from the edge where it rises, over the middle, which is 0, to the other one.
    onward = -copysign(1.0, begin)
    found = []
    for side, way in ((-1.0, True), (1.0, False)):
        here = [one for one in passages if one.from_middle_deg * onward * side > 0.0]
        there = [one.from_middle_deg for one in here if one.rising is way]
        back = [one.from_middle_deg for one in here if one.rising is not way]
        if there and back:
            found.append((there[-1] - back[-1]) * onward)
    return fsum(found) / len(found) if found else None


def _groups(rows: Iterable[tuple[int, float | None]]) -> list[list[float]]:
    """Values by reference, of those that have another one to be compared with."""
    groups: dict[int, list[float]] = defaultdict(list)
    for reference, value in rows:
        if value is not None:
            groups[reference].append(value)
    return [group for group in groups.values() if len(group) > 1]


def _none(count: int, why: str) -> HomeFigure:
    return HomeFigure(None, None, count, why)


def _too_few(count: int, what: str = "") -> HomeFigure:
    return _none(
        count,
        f"{count or 'no'} homing{'' if count == 1 else 's'}{what} can be compared with another "
        f"one, and it takes {LEAST_HOMINGS} in a row, each of a joint that was homed as it began",
    )


def _deviation(rows: Iterable[tuple[int, float | None]]) -> HomeFigure:
    """Standard deviation about the mean of each group, pooled.

    With ν degrees of freedom it is uncertain by s/√(2ν), of one group of n by s/√(2(n − 1))
    (GUM, JCGM 100:2008, E.4.3, from memory).
    """
    groups = _groups(rows)
    count = sum(map(len, groups))
    freedom = count - len(groups)
    if freedom < LEAST_HOMINGS - 1:
        return _too_few(count)
    means = [fsum(group) / len(group) for group in groups]
    squares = ((value - m) ** 2 for group, m in zip(groups, means, strict=True) for value in group)
    deviation = sqrt(fsum(squares) / freedom)
    return HomeFigure(deviation, deviation / sqrt(2.0 * freedom), count, "")


def _mean(values: Sequence[float]) -> HomeFigure:
    count = len(values)
    if count < LEAST_HOMINGS:
        words = f"{count or 'no'} homing{'' if count == 1 else 's'}"
        return _none(count, f"{words} met an edge both ways, and it takes {LEAST_HOMINGS}")
    mean = fsum(values) / count
    deviation = sqrt(fsum((one - mean) ** 2 for one in values) / (count - 1))
    return HomeFigure(mean, deviation / sqrt(count), count, "")


def _slope(places: Iterable[HomePlace]) -> HomeFigure:
    """Least squares, with a level of its own for each reference; from one it is a plain line."""
    kept = list(_warm_groups(places).values())
    count = sum(map(len, kept))
    freedom = count - len(kept) - 1
    if freedom < LEAST_HOMINGS - 2:
        return _too_few(count, " at a temperature that is known")
    span_c = max(max(group)[0] - min(group)[0] for group in kept)
    if span_c < LEAST_SPAN_C:
        return _none(
            count,
            f"it was {span_c:.1f} °C warmer at one than at another of the homings that can be "
            f"compared, and it takes {LEAST_SPAN_C:g} °C",
        )
    away = [one for group in kept for one in _from_means(group)]
    spread = fsum(x * x for x, _ in away)
    slope = fsum(x * y for x, y in away) / spread
    rest = fsum((y - slope * x) ** 2 for x, y in away)
    return HomeFigure(slope, sqrt(rest / freedom / spread), count, "")


def _from_means(group: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    x_mean, y_mean = (fsum(column) / len(group) for column in zip(*group, strict=True))
    return [(x - x_mean, y - y_mean) for x, y in group]
