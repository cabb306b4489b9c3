"""The arm that the fixture `arm` gives: what befalls it, and the truth about it."""

import math
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from coordinator.client import HomingFailed, Refused, WrongInput
from coordinator.config.arm import parse_arm
from coordinator.testing.virtual_arm import VirtualArm
from simulator.unit import WorldTruth
from tests.quick_arm import HOME_DEG, NAMES, VELOCITY_DEG_S, arm_text

OUT = "G0 A-130 B-130 C-130\nM2\n"
"""30° at 60 °/s and 120 °/s²: at least a second (v²/a = 30° are ramps), and longer by the jerk."""
FEED = 1200 * math.sqrt(3)
"""Degrees a minute of all three joints together (NISTIR 6556 §2.1.2.5): 20 °/s of each."""
LONG = f"G1 A-40 B-40 C-40 F{FEED:.3f}\nM2\n"
"""120° at 20 °/s: 6 s and a little."""


def made(network: str = "none", seed: int = 1, text: str | None = None) -> VirtualArm:
    arm = VirtualArm(
        parse_arm(text or arm_text(3, "00000000ab"), Path("arm.toml")), network=network, seed=seed
    )
    arm.home()
    return arm


def test_the_truth_is_where_the_program_leads() -> None:
    arm = made()
    arm.truth.require_angle_deg("elbow", HOME_DEG, within_deg=0.5)
    report = arm.play(OUT)
    assert report.outcome == "finished"
    # The joint's own home is as true as its sensor's edges are: a fraction of a degree.
    arm.truth.require_angle_deg("elbow", -130, within_deg=0.5)
    low, high = arm.truth.range_deg("elbow")
    assert (low, high) == pytest.approx((HOME_DEG, -130), abs=0.5)
    arm.truth.require_within_limits()
    arm.truth.require_at_rest()


def test_the_truth_of_the_past_is_the_truth_that_was() -> None:
    arm = made()
    arm.begin(LONG)
    seen = []
    for _ in range(40):  # at times between the looks that are taken by themselves
        arm.run_for(0.0737)
        assert arm.at_s is not None
        seen.append((arm.at_s, arm.truth.angle_deg("elbow"), arm.truth.speed_deg_s("elbow")))
    asked_later = made()
    assert asked_later.play(LONG).outcome == "finished"
    for at_s, angle_deg, speed_deg_s in seen:
        assert asked_later.truth.angle_deg("elbow", at_s=at_s) == pytest.approx(
            angle_deg, abs=0.0005
        )
        assert asked_later.truth.speed_deg_s("elbow", at_s=at_s) == pytest.approx(
            speed_deg_s, abs=0.05
        )
    assert asked_later.truth.speed_deg_s("elbow", at_s=3.0) == pytest.approx(20.0, abs=0.01)


def test_time_zero_is_the_first_joints_start() -> None:
    arm = made("quiet")
    before_s = arm.at_s
    arm.begin(LONG)
    now_s = arm.at_s
    assert before_s is None
    assert now_s is not None
    assert 0.0 <= now_s < 0.02
    assert arm.truth.at_rest(at_s=0.0)
    arm.run_for(1.0)
    assert not arm.truth.at_rest()


@pytest.mark.parametrize("seed", [1, 7])
def test_the_same_seed_gives_the_same_truth_and_another_one_another(seed: int) -> None:
    def truth(network: str, seed: int) -> tuple[object, ...]:
        arm = made(network, seed)
        report = arm.play(OUT)
        return report, arm.truth.spread_us, arm.truth.angle_deg("elbow"), arm.messages

    first = truth("home", seed)
    assert truth("home", seed) == first
    assert truth("home", seed + 1)[1:3] != first[1:3]
    assert truth("busy", seed)[1] != first[1]


def test_the_true_spread_is_below_what_the_report_proves() -> None:
    arm = made("home")
    report = arm.play(OUT)
    assert report.start is not None
    assert report.start.start_skew_max_us is not None
    assert 0.0 < arm.truth.spread_us <= report.start.start_skew_max_us


def test_joints_that_did_not_start_with_the_others_are_named() -> None:
    arm = made()
    arm.play(OUT)
    # Of a partial start, which is not to be had by a fault at a given time.
    alone = WorldTruth("resume", arm._recorder.events[-1][1].at_ns, 0.0, 0.0, 1, plan=99)
    arm._recorder.events.append(("elbow", alone))
    with pytest.raises(AssertionError, match=r"^turntable, shoulder did not start with the others"):
        _ = arm.truth.spread_us


def test_a_lost_joint_makes_the_arm_hold_until_it_is_back_and_resumed() -> None:
    arm = made()
    arm.lose("elbow", at_s=2, for_s=5)
    report = arm.play(LONG)
    assert report.outcome == "held"
    assert "elbow" in report.message
    assert not arm.truth.at_rest(at_s=2.0)
    arm.truth.require_at_rest()
    with pytest.raises(Refused, match="elbow"):
        arm.resume()
    arm.run_for(5)
    assert arm.resume().outcome == "finished"
    arm.truth.require_angle_deg("elbow", -40, within_deg=0.5)


def test_a_joint_that_is_lost_for_good_stays_lost() -> None:
    arm = made()
    arm.lose("elbow")
    arm.run_for(60)
    with pytest.raises(Refused) as refused:
        arm.play(OUT)
    assert refused.value.code == "joint-offline"


def test_heat_is_believed_warned_of_and_then_stops_the_arm() -> None:
    arm = made()
    arm.heat("shoulder", to_c=56)
    arm.run_for(20)
    assert arm.truth.temperature_c("shoulder") == pytest.approx(56, abs=0.5)
    # Of arm_text: warned above 50 °C, stopped above 58 °C.
    assert [(one.joint, one.code) for one in arm.state.warnings] == [("shoulder", "joint-warm")]
    assert not [message for message in arm.messages if "sensor" in message]
    arm.heat("shoulder", to_c=60, at_s=1)
    report = arm.play(LONG)
    assert report.outcome == "faulted"
    assert "shoulder" in report.message
    arm.truth.require_at_rest()


def test_the_newest_heat_counts() -> None:
    arm = made()
    arm.heat("elbow", to_c=56)
    arm.run_for(20)
    arm.heat("elbow", to_c=40)
    arm.run_for(20)
    assert arm.truth.temperature_c("elbow") == pytest.approx(40, abs=0.5)


def test_a_joint_that_restarts_ends_the_run_and_must_be_homed() -> None:
    arm = made()
    arm.reboot("elbow", at_s=2.5)
    report = arm.play(LONG)
    assert report.outcome == "lost"
    # It stood still in the instant in which its power went: there is no ramp in what is told.
    assert arm.truth.speed_deg_s("elbow", at_s=2.4999) == pytest.approx(20, abs=0.1)
    assert arm.truth.speed_deg_s("elbow", at_s=2.5001) == 0.0
    arm.run_for(5)
    with pytest.raises(Refused) as refused:
        arm.play(OUT)
    assert refused.value.code == "not-homed"


def test_hold_rests_on_the_path_and_resume_goes_on() -> None:
    arm = made()
    arm.begin(LONG)
    arm.run_for(2)
    assert arm.hold().outcome == "held"
    arm.truth.require_at_rest()
    assert arm.resume().outcome == "finished"
    assert len(arm.report.starts) == 2
    assert arm.truth.spread_us > 0.0


def test_stop_ends_the_run() -> None:
    arm = made()
    arm.begin(LONG)
    arm.run_for(2)
    report = arm.stop()
    assert report is not None
    assert report.outcome == "stopped"
    assert arm.truth.at_rest()


def test_a_stop_without_a_run_is_latched_and_gives_the_report_of_the_newest_run_if_any() -> None:
    arm = made()
    assert arm.stop() is None
    assert arm.state.condition.word == "stopped"
    assert arm.play(OUT).outcome == "finished"
    report = arm.stop("release")
    assert report is not None
    assert report.outcome == "finished"
    assert arm.state.condition.word == "motors off"


def test_override_makes_it_take_longer() -> None:
    arm = made()
    arm.begin(LONG)
    arm.override(50)
    arm.wait()
    assert arm.truth.speed_deg_s("elbow", at_s=5) == pytest.approx(10, abs=0.01)


def test_a_pause_is_told_and_resumed() -> None:
    arm = made()
    assert arm.play("G0 A-150\nM0\nG0 A-140\nM2\n").outcome == "paused"
    assert arm.resume().outcome == "finished"


def test_a_step_turns_one_joint_by_that_angle() -> None:
    arm = made()
    before = [arm.truth.angle_deg(name) for name in ("turntable", "elbow")]
    arm.step("elbow", by_deg=2.5, speed_deg_s=5)
    assert arm.truth.angle_deg("elbow") - before[1] == pytest.approx(2.5, abs=0.02)
    assert arm.truth.angle_deg("turntable") == before[0]


# ---- what is wrong -----------------------------------------------------------------------------


def test_a_mistake_in_a_program_is_told_with_its_line() -> None:
    arm = made()
    with pytest.raises(WrongInput, match="line 1") as wrong:
        arm.play("G0 A500\nM2\n")
    assert [mistake.line for mistake in wrong.value.mistakes] == [1]
    assert wrong.value.code == "program"


@pytest.mark.parametrize(
    ("ask", "code"),
    [
        (lambda arm: arm.home("jaww"), "joint-unknown"),
        (lambda arm: arm.step("jaww", by_deg=1, speed_deg_s=5), "joint-unknown"),
        (lambda arm: arm.lose("jaww"), "joint-unknown"),
        (lambda arm: arm.step("elbow", by_deg=1, speed_deg_s=500), "jog-speed"),
        (lambda arm: arm.override(200), "override-range"),
        (lambda arm: arm.play("M2\n"), "program-empty"),
    ],
)
def test_what_cannot_be_is_wrong_input_as_it_is_for_the_client(
    ask: Callable[[VirtualArm], None], code: str
) -> None:
    with pytest.raises(WrongInput) as wrong:
        ask(made())
    assert wrong.value.code == code


def test_what_is_refused_in_this_state_only_is_no_wrong_input() -> None:
    with pytest.raises(Refused) as refused:
        made().resume()
    assert refused.value.code == "no-run"


def test_nothing_is_waited_for_where_no_program_was_played() -> None:
    arm = made()
    before_us = arm._world.now
    with pytest.raises(AssertionError, match=r"^no program was played: there is no run to wait"):
        arm.wait()
    assert arm._world.now == before_us


def test_a_fault_that_the_run_ends_before_fails() -> None:
    arm = made()
    arm.lose("elbow", at_s=30)
    with pytest.raises(AssertionError, match=r"^elbow was to be lost at 30 s, but the run was"):
        arm.play(LONG)


def test_a_fault_in_the_past_is_refused() -> None:
    arm = made()
    arm.begin(LONG)
    arm.run_for(2)
    with pytest.raises(ValueError, match=r"^elbow was to be heated at 1 s, but that is past"):
        arm.heat("elbow", to_c=40, at_s=1)


@pytest.mark.parametrize("at_s", [-1.0, math.nan, math.inf])
def test_a_time_that_cannot_be_is_refused(at_s: float) -> None:
    with pytest.raises(ValueError, match="at_s must be 0 or more"):
        made().lose("elbow", at_s=at_s)


@pytest.mark.parametrize(
    ("ask", "sentence"),
    [
        (lambda arm: arm.run_for(-1), "duration_s is -1 s, but must be 0 to 1e+06 s"),
        (lambda arm: arm.lose("elbow", for_s=-1), "for_s is -1 s, but"),
        (lambda arm: arm.reboot("elbow", off_s=math.nan), "off_s is nan s, but"),
        (
            lambda arm: arm.step("elbow", by_deg=1, speed_deg_s=0),
            "speed_deg_s is 0, but must be above 0",
        ),
        (lambda arm: arm.heat("elbow", to_c=500), "to_c is 500, but must be -40 to 125 °C"),
        (
            lambda arm: arm.stop("x"),
            "level is 'x', but must be one of stop, stop-and-release, release",
        ),
    ],
)
def test_a_value_that_cannot_be_is_named_with_its_limit(
    ask: Callable[[VirtualArm], None], sentence: str
) -> None:
    with pytest.raises(ValueError, match=f"^{re.escape(sentence)}"):
        ask(made())


def test_an_unknown_joint_is_named_with_those_that_are() -> None:
    arm = made()
    for ask in (lambda: arm.lose("elbo"), lambda: arm.truth.angle_deg("elbo")):
        with pytest.raises(WrongInput, match="no joint 'elbo'; this arm has turntable shoulder"):
            ask()


def test_truth_of_no_run_and_of_the_future_is_not_made_up() -> None:
    arm = made()
    with pytest.raises(AssertionError, match="no run has started yet"):
        arm.truth.angle_deg("elbow", at_s=1)
    with pytest.raises(AssertionError, match="no joint has started yet"):
        _ = arm.truth.spread_us
    arm.begin(LONG)
    with pytest.raises(AssertionError, match="3 s of the run is asked for, but it went to 0"):
        arm.truth.angle_deg("elbow", at_s=3)


def test_failures_are_sentences_with_joint_limit_value_and_time() -> None:
    arm = made("quiet")
    arm.begin(LONG)
    arm.run_for(3)
    with pytest.raises(
        AssertionError, match=r"^elbow is at -\d+\.\d{3}° at 2\.000 s \(virtual\) of the run, not"
        r" within 1° of 30°$"
    ):  # fmt: skip
        arm.truth.require_angle_deg("elbow", 30, within_deg=1, at_s=2)
    with pytest.raises(AssertionError, match=r"elbow turns at 20\.\d+ °/s.*must be at rest$"):
        arm.truth.require_at_rest()
    with pytest.raises(AssertionError, match=r"started \d+\.\d µs apart, more than 0\.01 µs"):
        arm.truth.require_spread_us(at_most_us=0.01)


def test_limits_are_those_of_the_arm_file() -> None:
    # The joints are given limits that their truth then breaks: the same arm, read more strictly.
    arm = made()
    arm.play(OUT)
    arm.truth.require_within_limits()
    world = arm._world
    strict = arm_text(3, "00000000ab")
    world.arm = parse_arm(
        strict.replace(f"velocity_deg_s = {VELOCITY_DEG_S}", "velocity_deg_s = 42"), Path("arm")
    )
    with pytest.raises(AssertionError, match=r"faster than its limit 42 °/s$"):
        arm.truth.require_within_limits()
    world.arm = parse_arm(strict.replace("[-170, 170]", "[-170, -140]"), Path("arm"))
    with pytest.raises(AssertionError, match=r"outside its range -170 to -140°$"):
        arm.truth.require_within_limits()


def test_a_homing_that_fails_says_how() -> None:
    text = arm_text(3, "00000000ab").replace("travel_deg = 340", "travel_deg = 3")
    arm = VirtualArm(parse_arm(text, Path("arm.toml")), network="none")
    with pytest.raises(HomingFailed, match="search"):
        arm.home()


def test_a_joint_without_enough_supply_does_not_home() -> None:
    text = "source_v = 5\n" + arm_text(3, "00000000ab")
    with pytest.raises(HomingFailed, match="turntable does not begin to home: it is faulted"):
        VirtualArm(parse_arm(text, Path("arm.toml")), network="none").home()


def test_what_a_program_stops_at_is_come_to_from_one_side_in_spite_of_play() -> None:
    program = "G0 A-130 B-130\nA-140 B-140\nM2\n"
    keys = {"B": "reversal_error_deg = 0.4", "A": "reversal_error_deg = 0.4"}
    keys["B"] += "\napproach = { direction = 1, overtravel_deg = 1 }"
    text = arm_text(2, "00000000ab")
    for word, added in keys.items():
        text = text.replace(f'word = "{word}"\n', f'word = "{word}"\n{added}\n')
    arm = made(text=text)
    assert arm.play(program).outcome == "finished"
    lags = [arm.truth.angle_deg(name) - arm.truth.output_deg(name) for name in NAMES[:2]]
    # From above without an approach side, and from below with one.
    assert lags == pytest.approx([-0.2, 0.2], abs=0.001)
    low, _ = arm.truth.range_deg("shoulder")
    assert low < -139
    arm.truth.require_within_limits()
