"""What a joint's light shows: the arm's condition, unless the joint knows better."""

import pytest

from protocol.constants import SILENCE_US
from protocol.drive import Drive, pack_drive, unpack_drive
from protocol.light import BLINK, PATTERNS, REST_WORDS, ConditionWord, is_lit
from protocol.messages import Blink
from simulator.joint.joint import Joint
from tests.simulator.joint.rig import IDENTITY, Rig

W = ConditionWord


def told(rig: Rig, word: ConditionWord, arm_us: int) -> None:
    rig.drive(arm_us, condition=word)


def shown(rig: Rig, arm_us: int) -> ConditionWord:
    return rig.joint.light_word(rig.now(arm_us))


def test_before_anything_is_told_nothing_is_known() -> None:
    assert Joint(IDENTITY).light_word(0.0) is W.NOT_KNOWN


def test_at_rest_the_light_shows_what_it_was_told() -> None:
    rig = Rig()
    for k, word in enumerate(W):
        told(rig, word, 1_000_000 + k)
        assert shown(rig, 1_000_000 + k) is word


def test_a_number_that_no_word_has_is_not_known() -> None:
    value = bytearray(pack_drive(Drive(session=1, sequence=1, condition=W.AT_REST)))
    value[15] = 200
    assert unpack_drive(bytes(value)).condition is W.NOT_KNOWN


def test_a_joint_that_moves_shows_that_whatever_it_was_told() -> None:
    rig = Rig()
    at_us = rig.moving()
    told(rig, W.AT_REST, at_us + 200_000)
    assert shown(rig, at_us + 200_000) is W.MOVING


def test_what_was_told_ends_with_the_coordinators_silence_and_not_before() -> None:
    rig = Rig()
    told(rig, W.AT_REST, 1_000_000)
    assert shown(rig, 1_000_000 + SILENCE_US - 100) is W.AT_REST
    assert shown(rig, 1_000_000 + SILENCE_US + 100) is W.NOT_KNOWN


def test_the_light_blinks_for_its_seconds_and_then_goes_on() -> None:
    rig = Rig()
    now = rig.now(1_000_000)
    told(rig, W.MOTORS_OFF, 1_000_000)
    assert rig.joint.request(Blink(seconds=1), now) is None
    levels = {rig.joint.light_is_on(now + k * 50_000.0) for k in range(20)}
    assert levels == {True, False}
    assert not rig.joint.light_is_on(now + 1_000_001.0)


def test_no_word_that_claims_rest_has_the_pattern_of_one_that_does_not() -> None:
    for calm in REST_WORDS:
        for other in set(W) - REST_WORDS:
            assert PATTERNS[calm] != PATTERNS[other]
    assert BLINK not in PATTERNS.values()


@pytest.mark.parametrize("word", W)
def test_a_pattern_is_lit_for_its_share_of_the_time(word: ConditionWord) -> None:
    pattern = PATTERNS[word]
    whole = sum(pattern)
    lit = sum(is_lit(pattern, float(k)) for k in range(0, 10 * whole, 1000)) * 1000
    assert lit == 10 * sum(pattern[::2])
