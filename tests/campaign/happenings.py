"""What a scenario's happenings do to a world, and how everything is mended afterwards."""

import math
from collections import Counter
from dataclasses import replace
from random import Random

from coordinator.core import events as ev
from coordinator.motion.edges import EdgesError
from coordinator.motion.plan import plan_text
from coordinator.motion.route import pose_at
from coordinator.programs import NO_SWITCHES, ProgramError, Switches
from coordinator.programs.loops import ONCE, Loops
from coordinator.rehearsal.faulty_link import Trouble
from coordinator.rehearsal.host import HostClock
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.laptop import Laptop
from coordinator.rehearsal.world import COORDINATOR_ID, World
from protocol.constants import PPM
from protocol.drive import StopLevel
from protocol.status import Fault
from simulator.network import BOTH, PROFILES, Direction
from tests.campaign.hands import Hands
from tests.campaign.judge import Judge
from tests.campaign.scenario import OUTPUT, Happening, Scenario

OTHER_ID = bytes(range(16, 32))
HOTTER_C = 60.0
SAG_V = 6.0
CRYSTAL_STEP_US = 100_000
NOISE_STEP_US = 37_000
STEP_DEG_S = 5.0
"""A tenth to a half of what the arms' joints can."""
JOG_STEP_US = 100_000
GO_SHARE = 0.2
BRIEF_DEG = 1.5
CALM = "quiet"


class Happenings:
    """Carries a scenario out on a world."""

    def __init__(self, scenario: Scenario, world: World, judge: Judge) -> None:
        self.scenario = scenario
        self.world = world
        self.judge = judge
        self.struck: Counter[str] = Counter()
        """How often each thing really happened."""
        self.refused: Counter[str] = Counter()
        """Commands that the coordinator would not carry out, by their code."""
        self.last_refusal = "for no reason"
        self._half_widths_deg: dict[str, float] = {}
        """Of home sensors, as the newest homing of each found it: a disk keeps that."""
        self._random = Random(f"happenings {scenario.seed}")
        self._mended = Random(f"mended {scenario.seed}").choice((CALM, scenario.profile))
        """The network on which the operator plays when all is over."""
        self._names = [joint.name for joint in world.arm.joints]
        self.hands = Hands(world, judge, self._ask, Random(f"hands {scenario.seed}"))

    def schedule(self, from_us: int) -> int:
        """Put everything into the world's queue; gives the true time at which all is over."""
        self.hands.begin()
        end_us = from_us
        for one in self.scenario.happenings:
            at_us = from_us + one.at_ms * 1000
            self.world.at(at_us, self._happen, one)
            end_us = max(end_us, at_us + one.for_ms * 1000)
        return end_us

    def command(self, command: ev.Command, laptop: Laptop | None = None) -> bool:
        """Ask for something; False when it is refused, or when nobody is there to hear it."""
        laptop = laptop or self.world.laptop
        if not laptop.awake:
            self.last_refusal = "nobody is there"
            return False
        try:
            self._ask(command, laptop)
        except ev.Refused as refused:
            self.last_refusal = f"{refused.code}: {refused.message}"
            return False
        return True

    def _ask(self, command: ev.Command, laptop: Laptop) -> int | None:
        name = type(command).__name__.lower()
        try:
            number = laptop.command(command)
        except ev.Refused as refused:
            self.refused[f"{name}: {refused.code}"] += 1
            raise
        self.struck[f"operator {name}"] += 1
        return number

    def play(self, laptop: Laptop | None = None) -> bool:
        """Ask for the scenario's program from where the joints stand."""
        switches = Switches(from_line=self.scenario.from_line)
        text = "\n".join(self.scenario.program) + "\n"
        loops = self.scenario.wanted_loops
        return self._play(text, laptop or self.world.laptop, switches, loops)

    def play_briefly(self) -> bool:
        """Ask for a short move of all joints, and back."""
        there, back = [], []
        for joint, link in zip(self.world.arm.joints, self.world.core.links, strict=True):
            angle = joint.to_degrees(link.status.position) if link.status is not None else 0.0
            there.append(f"{joint.word}{angle - math.copysign(BRIEF_DEG, angle):.3f}")
            back.append(f"{joint.word}{angle:.3f}")
        text = f"G90 G94\nG0 {' '.join(there)}\nG0 {' '.join(back)}\nM2\n"
        return self._play(text, self.world.laptop)

    def _play(
        self,
        text: str,
        laptop: Laptop,
        switches: Switches = NO_SWITCHES,
        loops: Loops = ONCE,
    ) -> bool:
        arm = self.world.arm
        try:
            start = pose_at(arm, laptop.core.start_counts())
            parts = plan_text(text, arm, start, loops, switches, self._widths(loops))
        except (ev.Refused, ProgramError, EdgesError) as error:
            self.refused["play: plan"] += 1
            self.last_refusal = str(error)
            return False
        return self.command(ev.Play("campaign", text, parts, loops, switches), laptop)

    def _widths(self, loops: Loops) -> dict[str, float]:
        """Half the width of each home sensor, where edges are to be checked."""
        if loops.check_edges:
            for laptop in self.world.laptops:
                for homing in laptop.core.homings.values():
                    for name, joint in homing.results.items():
                        slow = [one.from_middle_deg for one in joint.edges if not one.fast]
                        if len(slow) > 1:
                            self._half_widths_deg[name] = (max(slow) - min(slow)) / 2.0
        return self._half_widths_deg

    def mend(self) -> None:
        """All faults end: power, sensors and the laptop are well, no link has trouble.

        In half of the scenarios the network is a quiet one from now on, in half as it was.
        """
        world = self.world
        for other in world.laptops[1:]:
            if other.alive:
                other.crash()
        laptop = world.laptop
        for node in world.nodes.values():
            if not node.alive:
                world.restart_joint(node.name)
            node.slow_us = 0
            node.twins.clear()
            node.liars.clear()
            node.unit.warmer_c = 0.0
            node.unit.supply_v = None
            node.unit.stick_hall(world.now, None)
            node.touched()
        for faulty_link in laptop.faulty_links.values():
            faulty_link.replace(PROFILES[self._mended], self._random.getrandbits(63), world.now)
        self.judge.network = self._mended
        if not laptop.alive:
            world.start_coordinator()

    # ---- one by one ---------------------------------------------------------------------------

    def _happen(self, one: Happening) -> None:
        what = one.what
        if what in _ON_LINK:
            self._link_fault(one)
        elif what in _ON_HOST:
            self._host_fault(one)
        elif what in ON_NETWORK:
            for index in one.joints:
                if index < len(self._names):
                    self._say(one, self.world.node(self._names[index]))
        elif what in _BY_OPERATOR:
            self._operate(one)
        elif what in AT_CONTROLS:
            self.struck[what] += 1
            self.hands.touch(one, [self.world.node(name) for name in self._struck(one)])
        else:
            for index in one.joints:
                if index < len(self._names):
                    node = self.world.node(self._names[index])
                    if node.alive:
                        self.struck[what] += 1
                        self._joint_fault(one, node)

    def _link_fault(self, one: Happening) -> None:
        ways: list[Direction] = [way for way in BOTH if way in one.ways]
        struck = [index for index in one.joints if index < len(self._names)]
        if one.what == "outage":
            self.struck[f"outage, {_WAYS[tuple(ways)]}"] += 1
            self.struck["partition of several joints"] += len(struck) > 1
        for index in struck:
            name, for_us = self._names[index], one.for_ms * 1000
            if one.what == "outage":
                self.world.cut(name, for_us, ways)
            else:
                now = self.world.now
                faulty_link = self.world.faulty_link(name)
                faulty_link.trouble(Trouble(one.what), one.amount, now, now + for_us, ways)

    def _say(self, one: Happening, node: Node) -> None:
        """Something is said on the network of a joint, true or not."""
        world, host = self.world, f"{one.what}-{one.at_ms}"
        known = node.announcement()
        said: ev.Event = replace(known, host=host)
        self.struck[one.what] += 1
        match one.what:
            case "moved":
                world.move_joint(node.name, host)
                return
            case "liar":
                self.judge.lied_of.setdefault(node.id, set()).add(host)
                if one.amount > 0.5:
                    node.liars.add(host)
                if one.amount > 1.5:
                    said = replace(known, host=host, instance=host)
            case "twin":
                node.twins[host] = 1 + self._random.getrandbits(31)
                world.at(world.now + one.for_ms * 1000, self._twin_goes, node, host)
            case "goodbye":
                said = ev.Gone(known.instance)
        for laptop in world.laptops:
            world.at(world.now + 1, laptop.handle, said)

    def _twin_goes(self, node: Node, host: str) -> None:
        node.twins.pop(host, None)

    def _host_fault(self, one: Happening) -> None:
        world = self.world
        laptop = world.laptop
        if one.what == "crash" and laptop.alive:
            self.struck["crash"] += 1
            world.kill_coordinator()
            world.at(world.now + one.for_ms * 1000, self._start_again)
        elif one.what == "sleep" and laptop.awake:
            self.struck["sleep"] += 1
            laptop.sleep(one.for_ms * 1000)
        elif one.what == "slew":
            self.struck["slew"] += 1
            laptop.host.slew(world.now, int(one.amount))
        elif one.what == "second":
            self.struck["second coordinator"] += 1
            identity = OTHER_ID if one.amount > 0 else COORDINATOR_ID
            other = world.add_laptop(identity, HostClock(self._random.randrange(10**9)))
            for after_us in (500_000, 1_500_000, 3_000_000):
                world.at(world.now + after_us, self._other_asks, other)
            world.at(world.now + one.for_ms * 1000, self._other_goes, other)

    def _start_again(self) -> None:
        if not self.world.laptop.alive:
            self.world.start_coordinator()

    def _other_asks(self, other: Laptop) -> None:
        if other.alive:
            self.command(ev.Home(), other)
            self.play(other)

    def _other_goes(self, other: Laptop) -> None:
        if other.alive:
            other.crash()

    def _operate(self, one: Happening) -> None:
        match one.what:
            case "hold":
                self.command(ev.Hold())
            case "resume":
                self.command(ev.Resume())
            case "stop":
                self.command(ev.Stop(StopLevel(int(one.amount))))
            case "home":
                self.command(ev.Home())
            case "switch":
                self.command(ev.Switch(OUTPUT, bool(one.amount)))
            case "override":
                self.command(ev.Override(round(one.amount * PPM / 100)))
            case "play":
                self.play()
            case "jog":
                self._jog(one, self.world.now + one.for_ms * 1000)
            case "go":
                self._go(one, self.world.now + one.for_ms * 1000, self._place(one))
            case "hand" if names := self._struck(one):
                self.struck.update(("hand", *(f"hand: {way}" for way in one.ways)))
                self.hands.hold(one, names, self._place(one, every=True))
            case "step":
                for name in self._struck(one):
                    self.command(ev.Step(name, one.amount, STEP_DEG_S))

    def _struck(self, one: Happening) -> list[str]:
        return [self._names[index] for index in one.joints if index < len(self._names)]

    def _jog(self, one: Happening, until_us: int) -> None:
        over = self.world.now >= until_us
        velocity_deg_s = 0.0 if over else one.amount
        self.command(ev.Jog(dict.fromkeys(self._struck(one), velocity_deg_s)))
        if not over:
            self.world.at(self.world.now + JOG_STEP_US, self._jog, one, until_us)

    def _place(self, one: Happening, *, every: bool = False) -> dict[str, float]:
        """Somewhat away from where some joints are by what they said last; where every other is."""
        struck = self._struck(one)
        return {
            link.name: link.joint.to_degrees(link.status.position)
            + (one.amount if link.name in struck else 0.0)
            for link in self.world.core.links
            if (every or link.name in struck) and link.status is not None
        }

    def _go(self, one: Happening, until_us: int, place: dict[str, float]) -> None:
        over = self.world.now >= until_us
        self.command(ev.Jog({}) if over else ev.Go("campaign", place, GO_SHARE))
        if not over:
            self.world.at(self.world.now + JOG_STEP_US, self._go, one, until_us, place)

    def _joint_fault(self, one: Happening, node: Node) -> None:
        world, unit = self.world, node.unit
        over_us = world.now + one.for_ms * 1000
        match one.what:
            case "reboot":
                world.kill_joint(node.name)
                world.at(over_us, world.restart_joint, node.name)
                return
            case "clock-step":
                self._step_clock(node, one.amount)
                return
            case "crystal":
                self._drift(node, one.amount, over_us)
                return
            case "hot":
                unit.warmer_c = HOTTER_C
                world.at(over_us, self._cool, node)
            case "supply":
                unit.supply_v = SAG_V
                world.at(over_us, self._supply, node)
            case "driver":
                unit.fault(Fault.DRIVER, world.now)
            case "lost-steps":
                self.judge.astray.add(node.id)
                unit.lose_steps(world.now, int(one.amount))
            case "astray":
                self.judge.astray.add(node.id)
                joint = next(joint for joint in world.arm.joints if joint.id == node.id)
                unit.lose_steps(world.now, joint.to_counts(one.amount))
            case "hall-high" | "hall-low":
                self.judge.sensor_lies(node, over_us)
                unit.stick_hall(world.now, one.what == "hall-high")
                world.at(over_us, self._unstick, node)
            case "hall-noisy":
                self.judge.sensor_lies(node, over_us)
                self._noise(node, over_us)
            case "slow":
                node.slow_us = int(one.amount)
                world.at(over_us, self._quick, node)
        world.poll(node)

    def _step_clock(self, node: Node, by_us: float) -> None:
        node.unit.step_clock(self.world.now, by_us)
        self.judge.clock_stepped(node)
        node.rewind()
        node.touched()

    def _drift(self, node: Node, ppm: float, until_us: int) -> None:
        """A crystal out of tolerance, in small steps."""
        if node.alive and self.world.now < until_us:
            self._step_clock(node, ppm * CRYSTAL_STEP_US / PPM)
            self.world.at(self.world.now + CRYSTAL_STEP_US, self._drift, node, ppm, until_us)

    def _noise(self, node: Node, until_us: int) -> None:
        if not node.alive or self.world.now >= until_us:
            return
        level = self._random.random() < 0.5
        node.unit.by_value(self.world.now, lambda joint, now: joint.hall(level, now))
        self.world.poll(node)
        self.world.at(self.world.now + NOISE_STEP_US, self._noise, node, until_us)

    def _cool(self, node: Node) -> None:
        node.unit.warmer_c = 0.0

    def _supply(self, node: Node) -> None:
        node.unit.supply_v = None

    def _unstick(self, node: Node) -> None:
        node.unit.stick_hall(self.world.now, None)
        self.world.poll(node)

    def _quick(self, node: Node) -> None:
        node.slow_us = 0


_WAYS: dict[tuple[Direction, ...], str] = {
    ("forward", "back"): "both ways",
    ("forward",): "to the joint",
    ("back",): "from the joint",
}
_ON_LINK = ("outage", *Trouble)
_ON_HOST = ("crash", "sleep", "second", "slew")
ON_NETWORK = ("moved", "liar", "twin", "goodbye")
_BY_OPERATOR = (
    *("hold", "resume", "stop", "home", "override", "play", "jog", "go", "step", "hand", "switch"),
)
AT_CONTROLS = ("turn", "press", "long-press")
