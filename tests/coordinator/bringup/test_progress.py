"""A bring-up goes on wherever it was broken off, and a swap asks for what depends on it alone."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.answers.bring_up import StepState
from coordinator.bringup.basis import basis_of
from coordinator.bringup.facts import Figures, NotSo, Said
from coordinator.bringup.figures import found_by
from coordinator.bringup.progress import (
    Done,
    before_of,
    body_of,
    bring_up,
    exchanged_with,
    newest_before,
    width_before,
)
from coordinator.bringup.steps import BY_CODE, STEPS, Aspect, Step
from coordinator.config.joint import Joint
from tests.coordinator.bringup.kit import (
    ELBOW,
    FIRMWARE,
    asked_again,
    brought_up,
    do,
    facts,
    now,
    said_against,
    said_other_body,
    said_same_body,
)

CODES = [step.code for step in STEPS]
ALL = brought_up()
NEW = replace(ELBOW, id="3c71bf4aff03")
OF_BODY = {step.code for step in STEPS if Aspect.BODY in step.depends}


@pytest.mark.parametrize("broken_off", range(len(STEPS) + 1))
def test_broken_off_behind_any_step_it_goes_on_with_the_next_one(broken_off: int) -> None:
    told = now(ALL[:broken_off])
    assert [one.state for one in told.steps] == [
        "done" if k < broken_off else "next" if k == broken_off else "waits"
        for k in range(len(STEPS))
    ]
    assert told.next == (CODES[broken_off] if broken_off < len(CODES) else None)
    done = ALL[:broken_off]
    for step in STEPS[broken_off:]:
        done = do(step, done)
    assert now(done).complete


@pytest.mark.parametrize(
    ("changed", "again"),
    [
        # A joint of another gear ratio, whose controller is known: its figures in the arm file.
        (
            {"gear_ratio": 15.0},
            ["configured", "direction", "home", "travel", "range", "repeatability"],
        ),
        ({"range_deg": (-90.0, 90.0)}, ["configured", "range"]),
        ({"home_deg": -120.0}, ["configured", "home", "range", "repeatability"]),
        ({"temperature_limit_c": 54.0}, ["configured", "sensors"]),
        ({"hold_current_a": 0.8}, ["configured", "direction", "home", "repeatability"]),
        ({"velocity_deg_s": 50.0}, ["configured"]),
        ({"hop_resistance_ohm": 0.06, "holds_load": False}, []),
    ],
)
def test_a_figure_that_is_changed_asks_for_what_depends_on_it(
    changed: dict[str, object], again: list[str]
) -> None:
    told = now(ALL, replace(ELBOW, **changed))  # type: ignore[arg-type]
    assert asked_again(told) == again
    assert told.next == (again[0] if again else None)


def test_why_it_counts_no_more_is_told() -> None:
    told = now(ALL, replace(ELBOW, gear_ratio=15.0))
    travel = next(one for one in told.steps if one.step == "travel")
    like = "200 full steps, 16 microsteps, gear ratio {}, direction 1"
    assert travel.because == (f"gear was {like.format(20)}, is {like.format(15)}",)
    assert travel.figures["measured_deg"] == 91.0  # its history stays


def test_another_whole_joint_is_brought_up_anew_in_the_place_of_the_old_one() -> None:
    told = now(ALL, NEW)
    assert asked_again(told) == CODES
    assert told.other_controller == ELBOW.id
    assert all(one.done_utc for one in told.steps)


def test_where_the_controller_alone_was_changed_what_the_body_says_counts_on() -> None:
    done = said_same_body(ALL, NEW)
    told = now(done, NEW)
    assert set(CODES) - set(asked_again(told)) == {"travel", "range"}
    assert told.other_controller is None
    for step in STEPS:
        if step.code in asked_again(told):
            done = do(step, done, NEW)
    assert now(done, NEW).complete
    # Once more another one: whose body it has is not said of it.
    assert asked_again(now(done, replace(NEW, id="3c71bf4aff04"))) == CODES


def test_new_firmware_asks_for_what_it_does_itself() -> None:
    told = bring_up(ELBOW, 3, "1.6.0", ALL)
    assert asked_again(told) == [
        "configured", "sensors", "direction", "home", "link", "repeatability",
    ]  # fmt: skip


def test_a_joint_that_is_not_heard_loses_nothing() -> None:
    told = bring_up(ELBOW, 3, None, ALL)
    assert told.complete
    assert told.firmware is None


def test_two_controllers_that_changed_places_are_both_brought_up_anew() -> None:
    """Their ids are exchanged in the arm file: elbow has wrist's, and nothing else changed."""
    wrist = replace(ELBOW, name="wrist", id="3c71bf4a0005")
    of_wrist = brought_up(wrist, 5)
    assert asked_again(now(ALL, replace(ELBOW, id=wrist.id))) == CODES
    assert asked_again(now(of_wrist, replace(wrist, id=ELBOW.id), 5)) == CODES


def test_two_joints_that_changed_places_in_the_chain_are_asked_for_what_depends_on_that() -> None:
    assert asked_again(now(ALL, number=5)) == ["placed", "range", "link"]


def test_a_controller_that_comes_back_brings_no_body_of_before_with_it() -> None:
    """NEW came as a whole joint, its board died, and the old board is on its motor and gear."""
    done = do(BY_CODE["identified"], ALL, NEW)
    assert asked_again(now(done)) == [code for code in CODES if code in OF_BODY | {"identified"}]
    done = do(BY_CODE["identified"], done)
    told = now(done)
    assert asked_again(told) == [code for code in CODES if code in OF_BODY]
    travel = next(one for one in told.steps if one.step == "travel")
    assert travel.because == (f"body was {ELBOW.id}, is {ELBOW.id} (2)",)
    assert told.other_controller == NEW.id
    for step in STEPS:
        done = do(step, done)
    assert now(done).complete
    # And once more, of which the second body is not the third.
    again = do(BY_CODE["identified"], do(BY_CODE["identified"], done, NEW))
    assert asked_again(now(again)) == [code for code in CODES if code in OF_BODY]


def test_that_a_controller_that_came_back_is_on_the_body_of_the_one_before_can_be_said() -> None:
    done = ALL
    for step in STEPS:
        done = do(step, done, NEW)
    done = said_same_body(done, ELBOW)
    assert not {"travel", "range"} & set(asked_again(now(done)))
    travel = next(one for one in now(done).steps if one.step == "travel")
    assert travel.basis["controller"] == NEW.id


@given(st.lists(st.tuples(st.sampled_from([ELBOW, NEW]), st.sampled_from(STEPS)), max_size=40))
def test_what_depends_on_the_body_counts_only_since_its_controller_came_last(
    happened: list[tuple[Joint, Step]],
) -> None:
    done: list[Done] = []
    for joint, step in happened:
        done = do(step, done, joint)
    since: set[str] = set()
    for one in reversed(done):
        if one.basis["controller"] != ELBOW.id:
            break
        since.add(one.step)
    counts = set(CODES) - set(asked_again(now(done)))
    assert counts & OF_BODY == since & OF_BODY


def test_a_swap_in_the_middle_of_a_bring_up_begins_it_anew_and_it_can_be_broken_off_again() -> None:
    done = ALL[:5]
    for step in STEPS[:2]:
        done = do(step, done, NEW)
    told = now(done, NEW)
    assert (told.next, asked_again(told)) == ("configured", CODES[2:])


def test_another_body_with_the_same_controller_asks_for_what_depends_on_the_body() -> None:
    again = ["sensors", "direction", "home", "travel", "range", "repeatability"]
    done = said_other_body(ALL)
    assert asked_again(now(done)) == again
    for step in STEPS:
        if step.code in again:
            if step.code == "home":  # the homing of before says nothing of it
                with pytest.raises(NotSo, match="newest homing of elbow is of before"):
                    found_by(step, Said(), facts(behind=newest_before(done)))
            done = do(step, done)
    assert now(done).complete
    assert asked_again(now(said_other_body(done))) == again


def test_homings_count_since_the_joint_was_configured_and_its_body_said_to_be_another() -> None:
    assert newest_before([]) == 0
    assert newest_before(ALL) == 14
    changed = said_other_body(ALL)
    assert newest_before(changed) == 15
    homed = do(BY_CODE["home"], do(BY_CODE["home"], changed))
    assert newest_before(homed) == 15
    assert newest_before(do(BY_CODE["configured"], homed)) == 17
    before = [replace(one, figures={}) for one in changed]  # as earlier versions kept it
    assert newest_before(before) == 0


def test_that_the_controller_alone_was_changed_can_be_taken_back() -> None:
    done = said_same_body(ALL, NEW)
    assert not {"travel", "range"} & set(asked_again(now(done, NEW)))
    assert asked_again(now(said_other_body(done, NEW), NEW)) == CODES


@pytest.mark.parametrize("step", [one for one in STEPS if one.answers], ids=lambda step: step.code)
def test_somebody_who_sees_that_it_is_not_so_takes_a_step_back(step: Step) -> None:
    for answer in step.bad_answers:
        done = said_against(ALL, step.code, answer)
        told = now(done)
        assert (told.next, asked_again(told)) == (step.code, [step.code])
        taken = next(one for one in told.steps if one.step == step.code)
        assert taken.because == (f"the owner said: {answer}",)
        assert now(do(step, done)).complete


def test_a_measurement_against_a_step_takes_it_back_with_its_sentence() -> None:
    figures: Figures = {"measured_deg": 60.0, "not_so": "elbow was told to turn by 90°"}
    done = [*ALL, replace(ALL[6], figures=figures)]
    told = now(done)
    assert (told.complete, told.next) == (False, "travel")
    assert told.steps[6].because == ("elbow was told to turn by 90°",)
    assert now(do(BY_CODE["travel"], done)).complete


def test_that_only_the_controller_was_changed_may_be_said_until_its_body_matters() -> None:
    done = list(ALL)
    for step in STEPS:
        assert before_of(NEW.id, done) is not None, step.code
        if Aspect.BODY in step.depends:
            break
        done = do(step, done, NEW)
    done = do(BY_CODE["sensors"], done, NEW)
    assert before_of(NEW.id, done) is None


WRIST_ID = "3c71bf4a0005"
IN_FILE = {"wrist": ELBOW.id, "tool": "3c71bf4a0006"}
"""Of the other joints, where elbow and wrist have each other's id."""


def test_a_controller_that_was_brought_up_as_another_joint_is_told_with_that_ones_name() -> None:
    identified = {"wrist": [WRIST_ID], "tool": ["3c71bf4a0006"], "gone": [NEW.id]}
    assert exchanged_with(WRIST_ID, ALL, identified, IN_FILE) == "wrist"
    assert exchanged_with(WRIST_ID, [], identified, IN_FILE) == "wrist"
    assert exchanged_with(NEW.id, ALL, identified, IN_FILE) is None
    # It stays so once that one is identified with the controller that it has now.
    identified["wrist"] = [WRIST_ID, ELBOW.id]
    assert exchanged_with(WRIST_ID, ALL, identified, IN_FILE) == "wrist"
    # What it had before that one says nothing of it any more.
    identified["wrist"] = [WRIST_ID, NEW.id, ELBOW.id]
    assert exchanged_with(WRIST_ID, ALL, identified, IN_FILE) is None


def test_that_two_joints_changed_places_is_told_until_somebody_has_seen_that_it_is_right() -> None:
    identified = {"wrist": [WRIST_ID]}
    elbow = replace(ELBOW, id=WRIST_ID)

    def told(done: list[Done]) -> str | None:
        return exchanged_with(WRIST_ID, done, identified, IN_FILE)

    wrong = said_against(ALL, "identified", "another joint answered", elbow)
    assert told(wrong) == "wrist", "the answer that confirms it"
    assert told(said_against(wrong, "placed", "it is elsewhere", elbow)) == "wrist"
    assert told(do(BY_CODE["sensors"], ALL, elbow)) == "wrist", "nothing that was seen"
    right = do(BY_CODE["identified"], wrong, elbow)
    assert told(right) is None
    assert told(said_against(right, "placed", "it is elsewhere", elbow)) == "wrist"
    assert told(do(BY_CODE["placed"], ALL, elbow)) is None
    # What was right before it had another controller is not so again by itself.
    assert told(do(BY_CODE["identified"], right, NEW)) == "wrist"


def test_the_width_before_is_that_of_the_same_motor_and_gear() -> None:
    same = said_same_body(ALL, NEW)
    for joint, done, is_known in (
        (ELBOW, ALL, True),
        (NEW, same, True),
        (NEW, ALL, False),
        (ELBOW, said_other_body(ALL), False),
        (replace(ELBOW, gear_ratio=15.0), ALL, False),
    ):
        basis = basis_of(joint, 3, FIRMWARE, body_of(joint.id, done))
        # Where a width was not known, or was found to be another one, once, is no reference.
        refuted = replace(done[5], figures={"sensor_width_deg": 9.0, "not_so": "it is 9° wide"})
        unknown = replace(done[5], figures={"sensor_width_deg": None})
        before_deg = 3.0 if is_known else None
        assert width_before(basis, [*done, unknown, refuted]) == before_deg
        assert width_before(basis, [one for one in done if one.step != "home"]) is None


@given(
    st.lists(st.sampled_from(STEPS), max_size=30),
    st.lists(st.sampled_from([20.0, 15.0]), min_size=30, max_size=30),
)
def test_whatever_is_done_in_whatever_order_a_step_is_done_only_by_what_holds_now(
    steps: list[Step], ratios: list[float]
) -> None:
    done: list[Done] = []
    for step, ratio in zip(steps, ratios, strict=False):
        done = do(step, done, replace(ELBOW, gear_ratio=ratio))
    told = bring_up(ELBOW, 3, FIRMWARE, done)
    assert told.complete == (told.next is None)
    assert [one.state for one in told.steps].count(StepState.NEXT) == (0 if told.complete else 1)
    for step, one in zip(STEPS, told.steps, strict=True):
        gear = one.basis.get(Aspect.GEAR, "")
        counts = one.state == "done"
        depends = Aspect.GEAR in step.depends
        assert counts == (bool(one.done_utc) and ("ratio 20," in gear or not depends))
