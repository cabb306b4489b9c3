"""What of the microcontrollers' port needs none: thermistor, inputs, touch ring, knob, light."""

import ctypes
import math
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

PADS, MIDDLE, TURN, DETENTS = 4, 4, 1024, 16


@pytest.fixture(scope="session")
def parts(joint_build: Path) -> ctypes.CDLL:
    return ctypes.CDLL(str(joint_build / "libparts.so"))


# Thermistor


def millivolts(celsius: float, full_mv: float) -> float:
    """By the equation of the B value (IEC 60539-1, from memory), below 10 kΩ from the supply."""
    ohms = 10_000 * math.exp(3950 * (1 / (celsius + 273.15) - 1 / 298.15))
    return full_mv * ohms / (ohms + 10_000)


def temperature(parts: ctypes.CDLL, mv: int, full_mv: int = 3300) -> int | None:
    found = ctypes.c_int16(-1)
    parts.uj_ntc_read.restype = ctypes.c_bool
    return found.value if parts.uj_ntc_read(mv, full_mv, ctypes.byref(found)) else None


@pytest.mark.parametrize("celsius", [-19, -3.3, 0, 17.5, 25, 38.2, 59, 60, 87.4, 118])
def test_a_temperature_is_within_half_a_degree_of_the_equation(
    parts: ctypes.CDLL, celsius: float
) -> None:
    found = temperature(parts, round(millivolts(celsius, 3300)))
    assert found is not None
    assert found / 100 == pytest.approx(celsius, abs=0.5)


def test_a_hotter_thermistor_never_reads_colder(parts: ctypes.CDLL) -> None:
    read = [found for mv in range(3301) if (found := temperature(parts, mv)) is not None]
    assert read == sorted(read, reverse=True)
    assert read[0] == pytest.approx(12_000, abs=100)
    assert read[-1] == pytest.approx(-2_000, abs=100)


@pytest.mark.parametrize("mv", [3300, 3299, 3100, 0, 3, 100, -1, 3400])
def test_a_broken_or_shorted_wire_is_no_temperature(parts: ctypes.CDLL, mv: int) -> None:
    assert temperature(parts, mv) is None


# Inputs


class Steady(ctypes.Structure):
    _fields_ = [
        ("read", ctypes.c_uint8),
        ("alike", ctypes.c_uint8),
        ("told", ctypes.c_uint8),
    ]


def steadied(parts: ctypes.CDLL, readings: list[int]) -> list[tuple[int, int]]:
    """At which reading what is told, by an owner that tells it at once."""
    steady, told = Steady(), []
    parts.uj_steady_take.restype = ctypes.c_bool
    for k, reading in enumerate(readings):
        if parts.uj_steady_take(ctypes.byref(steady), reading):
            steady.told = reading
            told.append((k, reading))
    return told


def test_an_input_counts_once_it_has_read_alike_five_times(parts: ctypes.CDLL) -> None:
    assert steadied(parts, [0] * 9 + [1] * 4 + [0] * 9 + [1] * 9 + [0] * 9) == [(26, 1), (35, 0)]


def test_an_input_that_is_on_at_the_start_is_told(parts: ctypes.CDLL) -> None:
    assert steadied(parts, [3] * 9) == [(4, 3)]


def test_a_contact_that_goes_on_bouncing_tells_nothing(parts: ctypes.CDLL) -> None:
    assert steadied(parts, [1, 1, 1, 1, 0] * 20) == []


def test_what_could_not_be_told_is_told_at_the_next_reading(parts: ctypes.CDLL) -> None:
    steady = Steady()
    parts.uj_steady_take.restype = ctypes.c_bool
    found = [parts.uj_steady_take(ctypes.byref(steady), 1) for _ in range(8)]
    assert found == [False] * 4 + [True] * 4


# Touch ring


class Ring(ctypes.Structure):
    _fields_ = [
        ("begun", ctypes.c_bool),
        ("untouched", ctypes.c_int32 * (PADS + 1)),
        ("touched", ctypes.c_bool),
        ("angle", ctypes.c_int32),
        ("pressed", ctypes.c_bool),
    ]


def felt(angle: float | None, middle: bool, sense: int) -> list[int]:
    """The pads' readings with a finger at an angle: its share falls to 0 at the neighbours."""
    out = []
    for pad in range(PADS):
        share = 0.0
        if angle is not None:
            away = abs((angle - 256 * pad + TURN / 2) % TURN - TURN / 2)
            share = max(0.0, 1 - away / 256)
        out.append(20_000 + sense * round(4_000 * share))
    return [*out, 20_000 + sense * (4_000 if middle else 0)]


def turned(parts: ctypes.CDLL, angles: list[float | None], sense: int, middle: bool = False) -> int:
    ring, sum_ = Ring(), 0
    parts.uj_ring_take.restype = ctypes.c_int16
    for angle in [None, *angles]:
        readings = (ctypes.c_uint32 * (PADS + 1))(*felt(angle, middle and angle is not None, sense))
        sum_ += parts.uj_ring_take(ctypes.byref(ring), readings, 50)
    return sum_


@pytest.mark.parametrize("sense", [1, -1])
@given(
    start=st.floats(0, TURN, exclude_max=True),
    turn=st.floats(-3 * TURN, 3 * TURN),
    steps=st.integers(30, 90),
)
@settings(max_examples=60, deadline=None)
def test_the_finger_s_way_round_the_ring_is_its_detents(
    parts: ctypes.CDLL, sense: int, start: float, turn: float, steps: int
) -> None:
    way = [(start + turn * k / steps) % TURN for k in range(steps + 1)]
    assert turned(parts, list(way), sense) == pytest.approx(turn * DETENTS / TURN, abs=1.5)


def test_a_finger_that_is_put_elsewhere_turns_nothing(parts: ctypes.CDLL) -> None:
    assert turned(parts, [0, None, 700, None, 300], 1) == 0


def test_a_palm_on_the_middle_turns_nothing(parts: ctypes.CDLL) -> None:
    assert turned(parts, [0, 200, 400, 600], 1, middle=True) == 0


def test_slow_drift_is_no_touch(parts: ctypes.CDLL) -> None:
    ring = Ring()
    for k in range(2000):
        readings = (ctypes.c_uint32 * (PADS + 1))(*[20_000 + 5 * k] * (PADS + 1))
        parts.uj_ring_take(ctypes.byref(ring), readings, 50)
        assert not ring.touched
        assert not ring.pressed


# Knob


class Knob(ctypes.Structure):
    _fields_ = [
        ("begun", ctypes.c_bool),
        ("contacts", ctypes.c_uint8),
        ("quarters", ctypes.c_int8),
    ]


@given(way=st.lists(st.sampled_from([1, -1]), max_size=200))
@settings(deadline=None)
def test_a_knob_s_quarters_make_detents_whatever_it_bounces(
    parts: ctypes.CDLL, way: list[int]
) -> None:
    pattern = [(False, False), (True, False), (True, True), (False, True)]  # A leads
    knob, place, detents = Knob(), 0, 0
    parts.uj_knob_take.restype = ctypes.c_int16
    parts.uj_knob_take(ctypes.byref(knob), *pattern[0])
    for step in way:
        place += step
        detents += parts.uj_knob_take(ctypes.byref(knob), *pattern[place % 4])
    assert abs(4 * detents - place) < 4


# Light


def test_each_lamp_is_green_red_blue_and_dark_in_the_gaps(parts: ctypes.CDLL) -> None:
    lamps = (ctypes.c_uint8 * 24)()
    parts.uj_light_bytes(6, True, lamps)  # stopped
    assert bytes(lamps) == bytes([0, 48, 0] * 8)
    parts.uj_light_bytes(6, False, lamps)
    assert bytes(lamps) == bytes(24)


@pytest.mark.parametrize("word", range(10))
def test_no_word_is_dark_while_its_pattern_is_on(parts: ctypes.CDLL, word: int) -> None:
    lamps = (ctypes.c_uint8 * 24)()
    parts.uj_light_bytes(word, True, lamps)
    assert any(lamps)
