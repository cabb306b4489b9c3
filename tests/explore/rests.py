"""What tells two arms at rest apart, for whoever asks next: else one play speaks for both.

Numbers that only grow (plans, trajectories, homings) differ between runs that are otherwise the
same, so they stand here as the two sides compare them; instants stand as whether there is one.
"""

from coordinator.core.feed import Feed
from coordinator.core.link import JointLink
from coordinator.core.run import Run
from coordinator.rehearsal.node import Node
from coordinator.rehearsal.world import World
from tests.campaign.truth import body_of, path_of, plan_of
from tests.explore.links import TICK_US


def rest_of(world: World) -> tuple[object, ...]:
    """All on which the next command depends: the run, both ends of every link, and what is asked.

    Q counts to 20 ms, a position to 1,000 counts; clocks only as far as they are trusted, for a
    play waits until they are.
    """
    core = world.core
    newest = core.outbox._plan_number, core.outbox._trajectory
    joints = (
        (_firmware(node, link, *newest), _link(link))
        for node, link in zip(world.nodes.values(), core.links, strict=True)
    )
    return (
        core.run and _run(core.run),
        core.homing and core.homing.state,
        core.jog.link is not None,
        tuple(joints),
    )


def _run(run: Run) -> tuple[object, ...]:
    return (
        run.phase, run.report.outcome, run.part, run.rate_ppm,
        run.start and run.start.stage, run.moving is not None, run._withdrawal is not None,
        run.stop_all, run._doom, run._start_refused, run._held_before, run._partial,
        run._settle_us is not None, tuple(sorted(run._booted)),
        run._stand_us // TICK_US, _feed(run.feed),
    )  # fmt: skip


def _feed(feed: Feed) -> tuple[object, ...]:
    cursors = tuple(
        (one.sent, one.acked, one.under_way, one.consumed, one.stirred)
        for one in feed._cursors.values()
    )
    return cursors, feed._base, feed.end_us, feed.failed and feed.failed[1].code


def _link(link: JointLink) -> tuple[object, ...]:
    status = link.status
    return (
        link.state, link.energise, link.stop_wanted, link.clear_wanted, link.clearing,
        link.quality.q_us // (2 * TICK_US), len(link._pending),
        status and (
            status.state, status.homed, status.energised, status.stop, status.faults,
            status.path_us // TICK_US,
        ),
    )  # fmt: skip


def _firmware(node: Node, link: JointLink, newest_plan: int, trajectory: int) -> tuple[object, ...]:
    body, path, joint = body_of(node), path_of(node), node.unit.joint
    player, mover, safety = joint._player, joint._mover, joint._safety
    configuration = body.configuration
    return (
        body.state, body.homed, body.energised, body.latched, body.faults, body.outputs,
        round(body.rest_position) // 1000, configuration and configuration.model_dump_json(),
        path.stand_us // TICK_US, path.began_us is not None, path.goal_us is not None,
        path.lease_us is not None, path.buffer.next_index, len(path.buffer.switches),
        path.buffer.trajectory == trajectory,
        plan_of(node) != 0, plan_of(node) == newest_plan, player.reason,
        player._armed_by and newest_plan - player._armed_by, newest_plan - player._newest,
        mover.homing_number == link.homing_number, mover.expiry_us is not None, mover.level,
        mover._met is not None, safety.fan_percent,
    )  # fmt: skip
