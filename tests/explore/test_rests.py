"""Two rests are one only where nothing tells them apart that the next command depends on."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from coordinator.codes.outcome import Outcome
from coordinator.core.run import Run
from protocol.status import Fault
from tests.campaign.clone import clone
from tests.explore.found import Found
from tests.explore.rests import rest_of
from tests.explore.scope import Scope
from tests.explore.search import begin
from tests.explore.stories import Family


@pytest.fixture(scope="module")
def held() -> Scope:
    """An arm that is held on its path."""
    return begin(Family("held", 2, "held", ticks=1), Found())


def run_of(scope: Scope) -> Run:
    assert scope.world.core.run is not None
    return scope.world.core.run


def otherwise_armed(scope: Scope) -> None:
    scope.world.node("base").unit.joint._player._armed_by = 1


def lower_plan_known(scope: Scope) -> None:
    scope.world.node("base").unit.joint._player._newest -= 1


def another_homing_number(scope: Scope) -> None:
    scope.world.node("base").unit.joint._mover.homing_number += 1


def another_trajectory(scope: Scope) -> None:
    scope.world.node("base").unit.joint._body.path.buffer.trajectory += 1


def clearing_asked(scope: Scope) -> None:
    link = scope.links[0]
    assert link.status is not None
    link.orders.make_ready(replace(link.status, faults=Fault.DRIVER))


def points_not_acknowledged(scope: Scope) -> None:
    run_of(scope).point_feed._cursors[scope.links[0].index].acked -= 1


def ended_by_another_word(scope: Scope) -> None:
    run_of(scope).report.outcome = Outcome.LOST


def a_joint_restarted(scope: Scope) -> None:
    run_of(scope).context.booted.add("base")


def partial_start(scope: Scope) -> None:
    latest = run_of(scope).context.latest
    assert latest is not None
    latest.is_partial = True


@pytest.mark.parametrize(
    "change",
    [
        otherwise_armed,
        lower_plan_known,
        another_homing_number,
        another_trajectory,
        clearing_asked,
        points_not_acknowledged,
        ended_by_another_word,
        a_joint_restarted,
        partial_start,
    ],
)
def test_rests_that_go_on_differently_are_two(change: Callable[[Scope], None], held: Scope) -> None:
    other = clone(held)
    assert rest_of(other.world) == rest_of(held.world)
    change(other)
    assert rest_of(other.world) != rest_of(held.world)


def test_rests_that_differ_in_their_numbers_alone_are_one(held: Scope) -> None:
    """Every number was given out once more before."""
    other = clone(held)
    core = other.world.core
    core.outbox._plan_number += 1
    core.outbox._trajectory += 1
    run_of(other).context.trajectory += 1
    for node, link in zip(other.world.nodes.values(), other.links, strict=True):
        player, mover = node.unit.joint._player, node.unit.joint._mover
        player._newest += 1
        if player._armed_by is not None:
            player._armed_by += 1
        if player.complied:
            player.complied += 1
        node.unit.joint._body.path.buffer.trajectory += 1
        mover.homing_number += 1
        link.orders.next_homing()
    assert rest_of(other.world) == rest_of(held.world)
