"""What a joint accepts as its configuration, and the digest by which both ends compare it."""

import hashlib
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from protocol.configuration import Configuration
from protocol.errors import FrameError
from protocol.messages import Configure, decode_request, encode
from protocol.ramp import Ramp


def fields(**changes: Any) -> dict[str, Any]:
    """A lawful elbow as JSON values, with changes; `homing__fast` reaches into homing."""
    base: dict[str, Any] = {
        "name": "elbow",
        "counts_per_turn": 16_384_000,
        "full_step": 4_096,
        "range_low": -4_000_000,
        "range_high": 5_000_000,
        "velocity": 2_730_000,
        "acceleration": 5_460_000,
        "jog_unhomed": 200_000,
        "homing": {
            "direction": -1,
            "travel": 16_384_000,
            "backoff": 50_000,
            "fast": 400_000,
            "slow": 40_000,
            "home": 0,
        },
        "ramp": [list(row) for row in Ramp.for_ratio(0.5).rows],
        "temperature_limit_centi_c": 6_000,
        "supply_limit_mv": 10_500,
        "run_current_ma": 1_200,
        "hold_current_ma": 600,
    }
    for key, value in changes.items():
        where, _, inner = key.partition("__")
        if inner:
            base[where][inner] = value
        else:
            base[where] = value
    return base


def build(values: dict[str, Any]) -> Configuration:
    return Configuration.model_validate_json(json.dumps(values))


def test_lawful_configuration_is_accepted_with_and_without_a_range() -> None:
    assert build(fields()).name == "elbow"
    assert build(fields(range_low=None, range_high=None)).range_low is None


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"range_low": None}, "both ends or none"),
        ({"range_low": 5_000_000}, "range 5000000 to 5000000 is empty"),
        ({"homing__direction": 0}, "direction is 1 or -1"),
        ({"homing__direction": 2}, "less than or equal to 1"),
        ({"homing__fast": 2_730_001}, "may not pass the velocity 2730000"),
        ({"homing__slow": 2_730_001}, "may not pass the velocity"),
        ({"jog_unhomed": 2_730_001}, "may not pass the velocity"),
        ({"homing__slow": 0}, "greater than 0"),
        ({"homing__travel": 0}, "greater than 0"),
        ({"acceleration": 5_400_000}, "more than the acceleration limit 5.4e+06"),
        ({"ramp": [[0, 0]]}, "at least 2"),
        ({"ramp": [[0, 0], [10, 500_000]]}, "ends at rate 1000000 ppm"),
        ({"ramp": [[1, 0], [10, 1_000_000]]}, "begins at time 0"),
        ({"ramp": [[0, 0], [10, 5], [10, 1_000_000]]}, "does not grow"),
        ({"ramp": [[0, 0], [9, 1_000_000], [10, 1_000_000]]}, "does not grow"),
        ({"ramp": [[0, 0], [10**400, 1_000_000]]}, "less than or equal to"),
        ({"ramp": [[0, 0], [30_000_001, 1_000_000]]}, "less than or equal to 30000000"),
        ({"range_high": 2**53}, "less than or equal to 9007199254740991"),
        ({"range_low": -(2**53)}, "greater than or equal to -9007199254740991"),
        ({"homing__travel": 2**53}, "less than or equal to 9007199254740991"),
        ({"ramp": [[0, 0], [10, 10**400], [20, 1_000_000]]}, "less than or equal to"),
        ({"name": ""}, "should match"),
        ({"name": "x" * 33}, "should match"),
        ({"name": "two words"}, "should match"),
        ({"name": "Gelenk-é"}, "should match"),
        ({"velocity": 2_730_000.0}, "valid integer"),
        ({"velocity": "2730000"}, "valid integer"),
        ({"velocity": True}, "valid integer"),
        ({"colour": 1}, "Extra inputs"),
    ],
)
def test_configuration_that_does_not_hang_together_is_refused_with_the_reason(
    change: dict[str, Any], sentence: str
) -> None:
    with pytest.raises(ValidationError, match=sentence.replace("+", r"\+")):
        build(fields(**change))


@given(
    key=st.sampled_from(sorted(fields())),
    value=st.one_of(
        st.none(), st.booleans(), st.integers(-(10**400), 10**400), st.text(), st.lists(st.none())
    ),
)
def test_configure_with_any_wrong_value_is_one_stable_error(key: str, value: object) -> None:
    body = json.dumps({"type": "configure", "configuration": fields(**{key: value})}).encode()
    code = "message-invalid"
    try:
        decode_request(body)
    except FrameError as error:
        code = error.code
    assert code == "message-invalid"


def request(**changes: Any) -> Configure:
    return Configure(configuration=build(fields(**changes)))


def test_digest_is_the_hash_of_the_body_and_the_coordinator_writes_one_body_only() -> None:
    first = request()
    body = encode(first)
    assert first.digest() == hashlib.sha256(body).hexdigest()
    again = decode_request(body)
    assert isinstance(again, Configure)
    assert (encode(again), again.digest()) == (body, first.digest())


def test_digest_changes_with_any_field() -> None:
    first = request().digest()
    assert request(homing__home=1).digest() != first
    assert request(hold_current_ma=601).digest() != first


def test_geometry_is_what_an_earlier_homing_rests_on() -> None:
    first = build(fields()).geometry()
    assert build(fields(velocity=2_729_999, name="wrist")).geometry() == first
    for change in ({"counts_per_turn": 1}, {"homing__direction": 1}, {"homing__home": 7}):
        assert build(fields(**change)).geometry() != first
