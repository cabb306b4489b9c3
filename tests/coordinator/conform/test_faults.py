"""A joint with one fault fails the checks that are about it, and no other."""

from pathlib import Path

import pytest

from coordinator.conform.check import Outcome
from tests.coordinator.conform.faults import FAULTS, Fault
from tests.coordinator.conform.harness import chosen, made, target
from tests.e2e.harness import before_others


@pytest.mark.parametrize("fault", FAULTS, ids=lambda fault: str(fault.name))
async def test_fault_is_found_by_its_checks_alone(
    fault: Fault, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    checks = chosen(*fault.among.split())
    expected = set(fault.found_by.split())
    assert expected < {check.id for check in checks}
    fault.put_in(monkeypatch)
    announce = fault.among.startswith("discovery")
    with before_others():
        async with target(tmp_path, announce=announce) as (joint, _):
            results = await made(joint, checks)
    told = {
        name: f"{one.outcome} {one.expected} {one.came} {one.why}" for name, one in results.items()
    }
    failed = {name for name, one in results.items() if one.outcome is Outcome.FAIL}
    assert failed == expected, told
    assert not any(one.is_blocked for one in results.values()), told


def test_faults_are_many_and_each_has_a_name_of_its_own() -> None:
    assert len({fault.name for fault in FAULTS}) == len(FAULTS) >= 25
