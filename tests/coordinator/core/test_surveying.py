"""A survey of links in virtual time: at the active rate, at rest, and what ends it."""

from itertools import pairwise

import pytest

from coordinator.codes.survey_word import LinkFault, LinkVerdict, MulticastWord, SurveyPhase
from coordinator.core import events as ev
from coordinator.core.surveying import Survey, SurveySnapshot
from coordinator.rehearsal.laptop import Laptop, Sent
from coordinator.rehearsal.world import World
from protocol.constants import ACTIVE_INTERVAL_US, IDLE_INTERVAL_US
from tests.coordinator.core.kit import (
    NAMES,
    S,
    describe,
    homed_world,
    link,
    moving,
    play,
    refusal,
    until,
    world_up,
)
from tests.coordinator.core.updating.scripted import Bench, signed

FOR_US = 20 * S


def settle(world: World) -> None:
    """Let so many exchanges pass that joints at rest are asked rarely."""
    until(world, lambda: all(one.quality.count >= 200 for one in world.core.links))
    world.run_for(S)


def begin(world: World, *names: str, for_us: int = FOR_US) -> Survey:
    """Survey joints, all for none named."""
    world.command(ev.Survey(names, for_us))
    assert world.core.surveys.newest is not None
    return world.core.surveys.newest


def told(world: World) -> SurveySnapshot:
    """How the newest survey goes."""
    survey = world.core.surveys.newest
    assert survey is not None
    return survey.snapshot(world.laptop.now, survey.results())


def over(world: World) -> SurveySnapshot:
    """How it went."""
    until(world, lambda: not world.core.surveys.measures, 700 * S)
    return told(world)


def sent_in(world: World, duration_us: int) -> int:
    """Drives to the first joint in a stretch of time."""
    before = world.core.links[0].orders.sequence
    world.run_for(duration_us)
    return world.core.links[0].orders.sequence - before


def test_links_at_rest_are_surveyed_at_the_active_rate_and_rest_again_after_it() -> None:
    world = world_up("quiet")
    settle(world)
    assert sent_in(world, 10 * S) <= 10 * S // IDLE_INTERVAL_US + 1
    begin(world, for_us=60 * S)
    goes = told(world)
    assert (goes.phase, goes.joints, goes.for_s, goes.left_s) == (
        SurveyPhase.MEASURING, NAMES, 60.0, 61.0,
    )  # fmt: skip
    world.run_for(10 * S)
    assert told(world).message.startswith("measuring, 25")
    done = over(world)
    assert (done.phase, done.left_s) == (SurveyPhase.DONE, 0.0), describe(world)
    assert done.exchanges == pytest.approx(60 * S / ACTIVE_INTERVAL_US, abs=2)
    assert done.message == f"done, {done.exchanges} exchanges in 60 s"
    assert [one.joint for one in done.results] == list(NAMES)
    for one in done.results:
        assert one.verdict is LinkVerdict.GOOD, one.message
        assert one.figures is not None
        assert one.figures.sent == done.exchanges
    assert sent_in(world, 10 * S) <= 10 * S // IDLE_INTERVAL_US + 1


def test_radios_that_sleep_are_found_on_each_link_of_an_arm() -> None:
    world = world_up("power-save", 4)
    begin(world, for_us=60 * S)
    for one in over(world).results:
        assert [finding.code for finding in one.findings] == [LinkFault.POWER_SAVE], one.message


def test_only_the_joints_that_are_named_are_surveyed() -> None:
    world = world_up("quiet")
    begin(world, "tip", "base")
    assert [one.joint for one in over(world).results] == ["base", "tip"]


def test_what_was_sent_last_is_waited_for_before_it_counts_as_lost() -> None:
    world = world_up()
    begin(world)
    world.run_for(FOR_US - 400_000)
    world.cut("base", 5 * S)
    results = {one.joint: one.figures for one in over(world).results}
    base, tip = results["base"], results["tip"]
    assert base is not None
    assert tip is not None
    assert tip.lost == 0
    assert base.lost == base.longest_loss == pytest.approx(10, abs=1)


@pytest.mark.parametrize("doing", ["homing", "playing", "held", "jogging"])
def test_a_survey_is_refused_while_anything_moves_or_is_to_go_on(doing: str) -> None:
    world = homed_world()
    if doing == "homing":
        world.command(ev.Home(()))
    elif doing == "playing":
        moving(world)
    elif doing == "held":
        moving(world)
        world.command(ev.Hold())
        world.run_for(5 * S)
    else:
        world.command(ev.Jog({"tip": 5.0}))
    code = {"playing": "running", "held": "running"}.get(doing, doing)
    assert refusal(world, ev.Survey()).code == code
    assert world.core.surveys.newest is None


def test_a_second_survey_waits_for_the_first() -> None:
    world = world_up("quiet")
    survey = begin(world, "base")
    found = refusal(world, ev.Survey())
    assert found.code == "surveying"
    assert found.message.startswith("the links of base are being surveyed")
    assert world.core.surveys.newest is survey
    over(world)
    begin(world)


def test_what_is_to_move_is_not_kept_waiting_and_ends_the_survey() -> None:
    world = homed_world()
    world.run_for(S)
    begin(world)
    world.run_for(10 * S)
    play(world)
    world.run_for(ACTIVE_INTERVAL_US)
    survey = told(world)
    assert (survey.phase, survey.results) == (SurveyPhase.BROKEN_OFF, ())
    assert survey.message == (
        "the survey was broken off: the arm was to move; nothing is told of what was measured"
    )


def test_a_survey_that_is_cancelled_tells_nothing() -> None:
    world = world_up("quiet")
    assert refusal(world, ev.CancelSurvey()).code == "no-survey"
    begin(world)
    world.run_for(10 * S)
    world.command(ev.CancelSurvey())
    survey = told(world)
    assert (survey.phase, survey.results, survey.left_s) == (SurveyPhase.CANCELLED, (), 0.0)
    assert survey.exchanges == pytest.approx(250, abs=2)
    assert refusal(world, ev.CancelSurvey()).code == "no-survey"


def test_joints_that_cannot_be_asked_are_refused_by_name_and_told_of_among_all() -> None:
    world = world_up("quiet")
    assert refusal(world, ev.Survey(("elbow",))).code == "joint-unknown"
    world.kill_joint("middle")
    until(world, lambda: not link(world, "middle").up)
    world.run_for(10 * S)
    assert refusal(world, ev.Survey(("middle",))).code == "joint-offline"
    begin(world)
    base, middle, _ = over(world).results
    assert (middle.verdict, middle.figures) == (LinkVerdict.NOT_KNOWN, None)
    assert "too few to tell anything" in middle.message
    assert base.figures is not None


def test_a_joint_that_restarts_meanwhile_has_its_link_told_and_not_its_clock() -> None:
    world = world_up("quiet")
    begin(world)
    world.run_for(8 * S)
    world.kill_joint("tip")
    world.run_for(2 * S)
    world.restart_joint("tip")
    *_, tip = over(world).results
    assert tip.figures is not None, tip.message
    assert tip.figures.clock is None
    assert tip.figures.lost > 10


def test_a_session_that_ends_breaks_a_survey_off() -> None:
    world = world_up("quiet")
    begin(world)
    world.laptop.core.handle(ev.HostSlept(5 * S, 77), world.laptop.now)
    assert told(world).phase is SurveyPhase.BROKEN_OFF


def test_an_update_of_firmware_breaks_a_survey_off() -> None:
    bench = Bench()
    bench.command(ev.Survey())
    bench.begin(signed())
    bench.run_for(S)
    survey = bench.core.surveys.newest
    assert survey is not None
    assert survey.phase is SurveyPhase.BROKEN_OFF


def test_surveyed_joints_are_asked_by_multicast_once_a_second_and_their_answers_are_counted() -> (
    None
):
    world = world_up("quiet")
    settle(world)
    asked: list[tuple[int, ev.AskByMulticast]] = []
    carried_out = world.laptop._carry_out

    def carry_out(laptop: Laptop, action: ev.Action) -> Sent:
        if not isinstance(action, ev.AskByMulticast):
            return carried_out(laptop, action)
        asked.append((laptop.now, action))
        return ev.AskedByMulticast(action.number, action.joint_ids, laptop.now)

    world.laptop._carry_out = carry_out
    begin(world, *NAMES[:2], for_us=40 * S)
    ids = tuple(one.id for one in world.core.links[:2])
    heard = 0
    while world.core.surveys.measures:
        world.run_for(ACTIVE_INTERVAL_US)
        for at_us, question in asked[heard:]:
            # The first joint answers each, the second none.
            answer = ev.AnsweredMulticast(question.number, ids[0], at_us + 30_000)
            world.core.handle(answer, world.laptop.now)
        heard = len(asked)
    assert {question.joint_ids for _, question in asked} == {ids}
    assert len(asked) == pytest.approx(40, abs=1)
    apart_us = [b[0] - a[0] for a, b in pairwise(asked)]
    assert min(apart_us) >= S
    first, second = told(world).results
    assert first.multicast is not None
    assert second.multicast is not None
    assert first.multicast.word is MulticastWord.LATE
    assert (first.multicast.asked, first.multicast.lost) == (len(asked), 0)
    assert first.multicast.p50_us == 30_000
    assert first.verdict is LinkVerdict.GOOD
    assert second.multicast.word is MulticastWord.NONE
    assert [one.code for one in second.findings] == [LinkFault.MULTICAST]
    assert second.verdict is LinkVerdict.USABLE
    assert "firewall" not in second.message  # the first one's answers come in
