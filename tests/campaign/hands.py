"""Hands on an arm: pages whose wishes come late, twice or out of order, and joints' own controls.

What a wish, a touch and control come to is decided by the API's own code (`door`).
"""

import json
from random import Random
from typing import Any

from coordinator.api.control import Who
from coordinator.api.feed_socket import _Wishing
from coordinator.api.tokens import Role
from coordinator.api.wishes import OldSession, Wishes
from coordinator.core import events as ev
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.world import World
from tests.campaign.door import Ask, Door
from tests.campaign.judge import Judge
from tests.campaign.scenario import Happening

EVERY_US = 100_000
"""A page says again what is held."""
PROMPT_US = 15_000
STALL_US = (300_000, 1_200_000)
"""TCP delivers all at once what waited for one lost packet."""
AGAIN_US = 400_000
MIXED_US = 600_000
LINGERS_US = 1_500_000
"""A page that has let go watches for as long as its last wish may take."""
STEP_DEG_S = 5.0
COUNTED = 2**16


class _Feed:
    """A page's feed, from its opening to its end."""

    def __init__(self, door: Door, who: Who) -> None:
        self.door = door
        self.who = who
        self.wishing = _Wishing(door.hand, who.id, who.name, Role.OPERATE)
        self.wishes = Wishes(self.wishing.command, door.hand.go_to, door.hand.session)
        self.number = 0
        self.open = True
        self.stalls: tuple[int, int] | None = None
        """From when to when nothing comes through."""
        door.desk.control.feed_opened(who.id)


class Hands:
    """All hands on the first laptop's arm."""

    def __init__(self, world: World, judge: Judge, ask: Ask, random: Random) -> None:
        self.world = world
        self.judge = judge
        self._ask = ask
        self._random = random
        self._door: Door | None = None

    def begin(self) -> None:
        """From now on joints' own controls are listened to."""
        self.world.laptop.on_touch = self._felt

    @property
    def door(self) -> Door:
        """Of the coordinator that runs, or ran last."""
        if self._door is None or self._door.core is not self.world.laptop.core:
            self._door = Door(self.world.laptop, self._ask)
        return self._door

    # ---- joints' own controls -----------------------------------------------------------------

    def touch(self, one: Happening, nodes: list[Node]) -> None:
        """Turn or press: so many detents or presses of each of these joints in its time."""
        count = abs(int(one.amount))
        for node in nodes:
            for k in range(count):
                at_us = self.world.now + k * one.for_ms * 1000 // count
                self.world.at(at_us, self._count, node, one.what, 1 if one.amount > 0 else -1)

    def _count(self, node: Node, what: str, by: int) -> None:
        if not node.alive:
            return
        joint = node.unit.joint
        turn, presses = joint.touch_turn, joint.touch_presses
        long_presses = joint.touch_long_presses
        match what:
            case "turn":
                turn = (turn + by + COUNTED // 2) % COUNTED - COUNTED // 2
            case "press":
                presses = (presses + 1) % COUNTED
            case _:
                long_presses = (long_presses + 1) % COUNTED
        joint.touch(turn, presses, long_presses)
        node.touched()

    def _felt(self, touched: ev.Touched) -> None:
        door = self.door
        door.obeyed.clear()
        door.on_touch(touched)
        self.judge.felt(door.laptop, touched, tuple(door.obeyed))

    # ---- pages --------------------------------------------------------------------------------

    def hold(self, one: Happening, names: list[str], place: dict[str, float]) -> None:
        """A page takes control and holds something: joints, steps, the way to a place, or the
        homing of a joint.
        """
        if not self.world.laptop.awake:
            return
        page = "other" if "other" in one.ways else "first"
        feed = _Feed(self.door, Who(f"the-{page}-page", f"the {page} page"))
        feed.door.obeyed.clear()
        self._take_control(feed)
        if "late" in one.ways:
            from_us = self.world.now + self._random.randrange(one.for_ms * 1000)
            feed.stalls = from_us, from_us + self._random.randrange(*STALL_US)
        what: dict[str, Any]
        if "go" in one.ways:
            what = {"type": "go", "waypoint": feed.door.taught.put(place)}
        elif "home" in one.ways:
            what = {"type": "home", "joint": names[0]}
        elif "step" in one.ways:
            what = {"type": "step", "by_deg": one.amount, "speed_deg_s": STEP_DEG_S}
            what["joint"] = names[0]
        else:
            what = {"type": "jog", "velocities_deg_s": dict.fromkeys(names, one.amount)}
        self._say(feed, one, what, self.world.now + one.for_ms * 1000)

    def _take_control(self, feed: _Feed) -> None:
        desk = feed.door.desk
        holder = desk.state().holder
        desk.take(feed.who)
        if holder not in (None, feed.who.public):
            self.judge.handed(feed.door.laptop, f"{feed.who.name} took control", taken=True)

    def _say(self, feed: _Feed, one: Happening, what: dict[str, Any], until_us: int) -> None:
        if not feed.open:
            return
        if self.world.now < until_us:
            self._send(feed, one, what)
            self.world.at(self.world.now + EVERY_US, self._say, feed, one, what, until_us)
        elif "gone" in one.ways:
            self._close(feed)
        else:
            self._send(feed, one, {"type": "jog", "velocities_deg_s": {}})
            self.world.at(self.world.now + LINGERS_US, self._close, feed)

    def _send(self, feed: _Feed, one: Happening, what: dict[str, Any]) -> None:
        """A wish is made, and comes when it comes; the page knows the arm time well."""
        now, draw = self.world.now, self._random
        feed.number += 1
        wish = {**what, "number": feed.number, "at_us": feed.door.laptop.now}
        text = json.dumps(wish)
        at_us = [now + draw.randrange(MIXED_US if "mixed" in one.ways else PROMPT_US)]
        if feed.stalls is not None and feed.stalls[0] <= now < feed.stalls[1]:
            at_us = [feed.stalls[1]]
        if "twice" in one.ways:
            at_us.append(at_us[0] + draw.randrange(AGAIN_US))
        for one_us in at_us:
            self.world.at(one_us, self._arrives, feed, text, now, feed.number)

    def _arrives(self, feed: _Feed, text: str, made_us: int, number: int) -> None:
        door, laptop = feed.door, feed.door.laptop
        if not feed.open or not door.open:
            return
        if laptop.asleep_until_us is not None:
            later_us = laptop.asleep_until_us + 1
            self.world.at(later_us, self._arrives, feed, text, made_us, number)
            return
        door.obeyed.clear()
        try:
            feed.wishes.take(text, laptop.now)
        except OldSession:
            self._close(feed)  # the page opens another, and its hand has let go by that
        self.judge.wished(laptop, feed, number, made_us, tuple(door.obeyed))

    def _close(self, feed: _Feed) -> None:
        """The feed ends, and the coordinator sees it, once it is awake."""
        door, laptop = feed.door, feed.door.laptop
        if not feed.open or not door.open:
            return
        if laptop.asleep_until_us is not None:
            self.world.at(laptop.asleep_until_us + 1, self._close, feed)
            return
        feed.open = False
        # Whoever never moved anything leaves what others jog as it is.
        moved = feed.wishing._who is not None
        held = door.desk.has(feed.who)
        feed.wishing.gone()
        door.desk.control.feed_closed(feed.who.id, laptop.now)
        if held and moved:
            self.judge.handed(laptop, f"{feed.who.name} has gone", taken=False)
        if held:
            door.desk.control.release(feed.who)
