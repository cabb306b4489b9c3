"""What a hand may ask of joints: to turn while a control is held, by steps, or to a place."""

from collections.abc import Callable, Mapping

from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Go, Refused, Step
from coordinator.core.jogging import Held, Jog, jogged, require_in_range
from coordinator.core.link.link import JointLink
from coordinator.core.outbox import Outbox
from coordinator.core.readiness import (
    make_ready,
    require_clock,
    require_expiry,
    require_homed,
    require_jog,
    require_link,
    require_ready,
    require_sound,
)


class JogCommands:
    """Begins and renews jogs. Everything raises Refused, with nothing changed."""

    def __init__(
        self,
        jog: Jog,
        outbox: Outbox,
        named: Callable[[str], JointLink],
        require_at_most_jog: Callable[[str, int], None],
    ) -> None:
        self._jog = jog
        self._outbox = outbox
        self._named = named
        self._require_at_most_jog = require_at_most_jog

    def turn(self, velocities_deg_s: Mapping[str, float], now: int) -> None:
        """Turn these joints and no others while this is renewed."""
        held: dict[JointLink, Held] = {}
        for name, velocity_deg_s in velocities_deg_s.items():
            link = self._named(name)
            require_jog(link, velocity_deg_s)
            if velocity_deg_s != 0.0:
                slow_deg_s = _no_faster(link, velocity_deg_s)
                held[link] = Held(round(slow_deg_s * link.joint.counts_per_degree))
        begun = [link for link in held if not self._jog.holds(link)]
        if held and self._jog.to_place:
            raise Refused(RefusalCode.JOGGING, f"{jogged(self._jog.links)} to a waypoint")
        if begun:
            self._jog.require_let_go(now)
            self._require_at_most_jog("jog", now)
            if self._jog.by_steps:
                raise Refused(RefusalCode.JOGGING, f"{jogged(self._jog.links)} by steps")
            for link in begun:
                require_ready(link, now)
                require_clock(link)
                require_expiry(link, now)
            make_ready(begun, self._outbox, now)
        self._jog.keep(held, now)

    def step(self, step: Step, now: int) -> None:
        """Turn one joint by an angle."""
        link = self._named(step.joint)
        require_jog(link, step.speed_deg_s)
        self._require_at_most_jog("a step", now)
        if self._jog.goes_on and not self._jog.by_steps:
            raise Refused(RefusalCode.JOGGING, jogged(self._jog.links))
        require_link(link, now)
        require_clock(link)
        require_expiry(link, now)
        require_sound(link)
        end = self._jog.end_of_step(link, step.by_deg, now)
        if not self._jog.is_stepping(link):
            make_ready([link], self._outbox, now)
        self._jog.step_to(link, end, _no_faster(link, step.speed_deg_s), now)

    def go(self, go: Go, now: int) -> None:
        """Turn joints to a place while this is renewed, such that all arrive at about one time.

        Each joint goes its own way there: this is no path, and no joint waits for another.
        """
        if not 0.0 < go.share <= 1.0:
            raise Refused(RefusalCode.JOG_SPEED, f"{go.share:g} of full speed, up to 1 is possible")
        targets = {self._named(name): angle for name, angle in go.targets_deg.items()}
        counts = {link: _target(link, angle) for link, angle in targets.items()}
        if self._jog.goes_to(counts):
            self._jog.renew(now)
            return
        self._jog.require_let_go(now)
        self._require_at_most_jog("to go there", now)
        if self._jog.goes_on:
            raise Refused(RefusalCode.JOGGING, jogged(self._jog.links))
        ways: dict[JointLink, int] = {}
        for link, target in counts.items():
            require_ready(link, now)
            require_clock(link)
            require_expiry(link, now)
            require_sound(link)
            assert link.status is not None, "it is ready"
            if not link.rests(now):
                raise Refused(
                    RefusalCode.NOT_AT_REST, f"{link.name} has not confirmed to be at rest"
                )
            require_homed(link)
            if way := target - link.status.position:
                ways[link] = way
        longest_s = max((abs(way) / _fastest(link) for link, way in ways.items()), default=0.0)
        make_ready(list(ways), self._outbox, now)
        held = {
            link: Held(max(1, round(abs(way) * go.share / longest_s)), counts[link])
            for link, way in ways.items()
        }
        self._jog.keep(held, now)


def _no_faster(link: JointLink, velocity_deg_s: float) -> float:
    """As fast as asked for; no faster than one that is not homed may where a joint takes itself
    for homed and does not count as homed: it would not slow down by itself.
    """
    if link.status is None or not link.status.homed or link.homed:
        return velocity_deg_s
    slow_deg_s = link.joint.homing.fast_deg_s
    return min(max(velocity_deg_s, -slow_deg_s), slow_deg_s)


def _fastest(link: JointLink) -> float:
    """Counts per second at the joint's limit."""
    return link.joint.velocity_deg_s * abs(link.joint.counts_per_degree)


def _target(link: JointLink, angle_deg: float) -> int:
    target = link.joint.to_counts(angle_deg)
    require_in_range(link, target, f"to {angle_deg:.8g}°")
    return target
