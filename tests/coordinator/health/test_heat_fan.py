"""What is seen of a joint's fan, and what is usual where nothing was seen."""

from coordinator.health.heat_fan import (
    PLAY_C,
    USUAL_HYSTERESIS_C,
    USUAL_ON_C,
    FanRule,
    FanWatch,
)


def watched(*readings: tuple[float, float]) -> FanWatch:
    fan = FanWatch()
    for celsius, share in readings:
        fan.take(celsius, share)
    return fan


def test_a_reading_tells_whether_the_fan_runs_otherwise_than_before() -> None:
    fan = FanWatch()
    shares = (1.0, 1.0, 0.0, 0.0, 0.4, 0.6)
    told = [fan.take(40.0, share) for share in shares]
    # Of the first nobody knows what was before.
    assert told == [False, False, True, False, True, True]
    assert fan.share == 0.6


def test_only_what_was_seen_is_seen() -> None:
    assert watched((30.0, 0.0), (30.0, 0.0)).seen == FanRule(None, None, 1.0)
    came = watched((47.0, 0.0), (47.0, 0.5))
    assert came.seen == FanRule(47.0, None, 0.5)
    assert came.seen.has_switched
    went = watched((43.0, 0.5), (43.0, 0.0))
    assert went.seen == FanRule(None, 43.0, 0.5)


def test_what_is_usual_is_likely_until_it_was_seen_to_be_otherwise() -> None:
    usual = FanRule(USUAL_ON_C, USUAL_ON_C - USUAL_HYSTERESIS_C, 1.0)
    assert watched((30.0, 0.0), (30.0, 0.0)).likely == usual
    warm = watched(*[(USUAL_ON_C + PLAY_C + 0.1, 0.0)] * 2)
    assert warm.likely.on_c is None  # it stood still above where one comes on usually
    came = watched((50.0, 0.0), (50.0, 1.0))
    assert came.likely == FanRule(50.0, 50.0 - USUAL_HYSTERESIS_C, 1.0)
