"""The smallest scenario that still breaks the same invariant."""

from collections.abc import Iterator
from dataclasses import replace

from coordinator.programs.loops import ONCE
from tests.campaign.play import Outcome, play
from tests.campaign.scenario import LETTERS, Scenario

BUDGET = 60
"""Scenarios tried; each takes a fraction of a second."""


def shrink(scenario: Scenario, invariant: str) -> tuple[Scenario, Outcome]:
    """Take away what is not needed for the violation."""
    best, outcome, left = scenario, play(scenario), BUDGET
    going = True
    while going and left > 0:
        going = False
        for candidate in _smaller(best):
            left -= 1
            tried = play(candidate)
            if tried.violation is not None and tried.violation.invariant == invariant:
                best, outcome, going = candidate, tried, True
                break
            if left <= 0:
                break
    return best, outcome


def _smaller(scenario: Scenario) -> Iterator[Scenario]:
    for index in range(len(scenario.happenings)):
        yield scenario.without(index)
    needed = max((joint for one in scenario.happenings for joint in one.joints), default=0) + 1
    for joints in {needed, max(needed, 2), scenario.joints - 1}:
        if needed <= joints < scenario.joints:
            yield _with_joints(scenario, joints)
    if scenario.profile != "none":
        yield replace(scenario, profile="none")
        if scenario.profile != "quiet":
            yield replace(scenario, profile="quiet")
    if scenario.real_bytes:
        yield replace(scenario, real_bytes=False)
    if scenario.capacities:
        yield replace(scenario, capacities=())
    if scenario.wanted_loops != ONCE:
        yield replace(scenario, loops=1, for_s=None, check_edges=False)
    if scenario.check_edges:
        yield replace(scenario, check_edges=False)
    if scenario.idle_current:
        yield replace(scenario, idle_current=False)
    for index in range(1, len(scenario.program) - 1):
        if len(scenario.program) > 4:
            program = scenario.program[:index] + scenario.program[index + 1 :]
            yield replace(scenario, program=program)


def _with_joints(scenario: Scenario, joints: int) -> Scenario:
    gone = LETTERS[joints:]
    program = []
    for line in scenario.program:
        words = [word for word in line.split() if word[0] not in gone or word[0] in "GMFP"]
        if any(word[0] in LETTERS for word in words) or not line.startswith(("G0 ", "G1 ")):
            program.append(" ".join(words))
    return replace(
        scenario, joints=joints, program=tuple(program), capacities=scenario.capacities[:joints]
    )
