"""What tells two arms at rest apart, for whoever asks next: else one play speaks for both.

Numbers that only grow (plans, trajectories, homings) differ between runs that are otherwise the
same, so they stand here as the two sides compare them; instants stand as whether there is one.
"""

from coordinator.core.link.link import JointLink
from coordinator.core.run import Run
from coordinator.core.run.point_feed import PointFeed
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.world import World
from tests.campaign.truth import body_of, path_of, plan_of
from tests.explore.links import TICK_US


def rest_of(world: World) -> tuple[object, ...]:
    """All on which the next command depends: the run, both ends of every link, and what is asked.

    the worst link delay counts to 20 ms, a position to 1,000 counts; clocks only as far as they
    are trusted, for a play waits until they are.
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
        bool(core.jog.links),
        tuple(joints),
    )


def _run(run: Run) -> tuple[object, ...]:
    context, latest = run.context, run.context.latest
    return (
        run.phase, run.report.outcome, run.part, run.rate_ppm,
        run.start and run.start.stage, run.motion is not None,
        getattr(run._state, "_withdrawal", None) is not None,
        getattr(run._state, "_then", None), getattr(run._state, "holds", None),
        run._settle_us is not None, tuple(sorted(context.booted)), run.awaited is not None,
        tuple(sorted((name, switch.on) for name, switch in context.switched.items())),
        latest and (latest.stand_us // TICK_US, latest.is_partial), _feed(run.point_feed),
    )  # fmt: skip


def _feed(feed: PointFeed) -> tuple[object, ...]:
    cursors = tuple(
        (one.sent, one.acked, one.under_way, one.consumed, one.stirred) for one in feed._cursors
    )
    return cursors, feed._base, feed.end_us, feed.failed and feed.failed[1].code


def _link(link: JointLink) -> tuple[object, ...]:
    status, orders = link.status, link.orders
    return (
        link.connection.state,
        orders.energise, orders.stop_wanted, orders.clear_wanted, orders.clearing,
        link.quality.worst_delay_us // (2 * TICK_US), len(link.requests),
        status and (
            status.state, status.homed, status.energised, status.stop, status.faults,
            status.path_us // TICK_US, status.outputs, status.inputs,
        ),
    )  # fmt: skip


def _firmware(node: Node, link: JointLink, newest_plan: int, trajectory: int) -> tuple[object, ...]:
    body, path, joint = body_of(node), path_of(node), node.unit.joint
    player, mover, safety = joint._player, joint._mover, joint._safety
    configuration = body.configuration
    return (
        body.state, body.homed, body.energised, body.latched, body.faults, body.outputs,
        body.inputs,
        round(body.rest_position) // 1000, configuration and configuration.model_dump_json(),
        path.stand_us // TICK_US, path.began_us is not None, path.goal_us is not None,
        path.permit_us is not None, path.buffer.next_index, len(path.buffer.switches),
        path.buffer.trajectory == trajectory,
        plan_of(node) != 0, plan_of(node) == newest_plan, player.reason,
        player._armed_by and newest_plan - player._armed_by, newest_plan - player._newest,
        mover.homing_number == link.orders.homing_number, mover.expiry_us is not None, mover.level,
        mover._met is not None, safety.fan_percent,
    )  # fmt: skip
