"""The checks of updates, of a joint that takes images and of one that knows of none."""

from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.conform.check import Outcome
from tests.coordinator.conform.harness import chosen, made, target
from tests.e2e.harness import before_others


@pytest.mark.parametrize("takes_images", [True, False])
async def test_joint_passes_whether_it_takes_images_or_not(
    takes_images: bool, tmp_path: Path
) -> None:
    checks = [
        one for one in chosen("update/", "messages/vector", "points-frame/vector") if not one.moves
    ]
    with before_others():
        async with target(tmp_path, may_move=False, takes_images=takes_images) as (joint, _):
            results = await made(joint, checks)
    assert len(results) > 40
    assert {one.id: one for one in results.values() if one.outcome is not Outcome.PASS} == {}


@pytest.mark.parametrize("takes_images", [True, False])
async def test_checks_in_motion_begin_with_drivers_on_or_off(
    takes_images: bool, tmp_path: Path
) -> None:
    """Drivers that one check left on are off for the next, and the joint is as it was."""
    checks = chosen("update/energised", "update/gap", "update/board", "update/moving")
    turned = [*checks, *reversed(checks)]
    with before_others():
        async with target(tmp_path, takes_images=takes_images) as (joint, port):
            results = await made(joint, turned)
            images = port.unit.images
    assert {one.outcome for one in results.values()} == {Outcome.PASS}, results
    assert images is None or (images.running, images.coming) == (None, None)


async def test_drivers_that_may_not_be_switched_off_leave_checks_unmade(tmp_path: Path) -> None:
    with before_others():
        async with target(tmp_path) as (joint, port):
            port.unit.joint._body.energised = True
            still = replace(joint, may_move=False)
            results = await made(still, chosen("update/gap", "update/header-none"))
    assert {one.outcome for one in results.values()} == {Outcome.NOT_MADE}
    assert all("its drivers are on" in one.why for one in results.values())
