"""Play between motor and output."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.physics.play import Play

ANGLES = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=20)


def test_an_output_lags_by_half_of_the_play_whichever_way_it_is_turned() -> None:
    play = Play(20.0, 0.0)
    assert [play.follow(at) for at in (5.0, 10.0, 50.0)] == [0.0, 0.0, 40.0]
    assert [play.follow(at) for at in (45.0, 30.0, 29.0)] == [40.0, 40.0, 39.0]


def test_reversal_value_of_iso_230_2_is_the_play() -> None:
    # facts.md, from memory: of the mean from below and from above, here over five approaches.
    play, up, down = Play(6.0, 0.0), [], []
    for _ in range(5):
        play.follow(80.0)
        up.append(play.follow(100.0))
        play.follow(120.0)
        down.append(play.follow(100.0))
    assert sum(up) / 5 - sum(down) / 5 == -6.0


@given(st.floats(0.0, 1e3), ANGLES)
def test_an_output_is_never_further_from_its_motor_than_half_of_the_play(
    width: float, motors: list[float]
) -> None:
    play = Play(width, motors[0])
    for motor in motors:
        assert abs(play.follow(motor) - motor) <= width / 2 + 1e-9


def test_without_play_the_output_is_where_the_motor_is() -> None:
    play = Play(0.0, 7.0)
    assert [play.follow(at) for at in (9.0, -3.0)] == [9.0, -3.0]


def test_play_below_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="Play is -1 counts wide"):
        Play(-1, 0.0)
