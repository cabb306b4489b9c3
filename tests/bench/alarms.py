"""Alarms over whole shifts in virtual time: floods, chatter, how soon faults are told, false ones.

What an operator can bear is one alarm in ten minutes on average (EEMUA 191, from memory), a flood
ten in ten minutes, and chatter the same alarm three times within a minute (ISA-18.2, from memory).
"""

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from random import Random

from coordinator.codes.priority import Priority
from coordinator.config.arm import Arm
from coordinator.core import events as ev
from coordinator.core.homing import HomingState
from coordinator.core.run import Phase
from coordinator.health.alarm_flood import BEGINS_AT, WITHIN_US
from coordinator.health.kinds import BY_CODE
from coordinator.rehearsal.world import World
from protocol.constants import US
from simulator.network import PROFILES
from tests.bench.alarm_faults import Fault
from tests.bench.arms import arm, next_deg
from tests.bench.virtual_arm import VirtualArm

PER_TEN_MINUTES = 1.0
CHATTER = 3
CHATTER_US = 60 * US
AFTER_US = 240 * US
"""What comes so long after a fault is its own: a link's figures go back over 200 exchanges."""
TURN_US = 60 * US
"""Between two looks of the operator's, who plays, homes what lost its home, and resumes."""


@dataclass(frozen=True)
class Begun:
    """An alarm that began."""

    at_us: int
    joint: str
    code: str


@dataclass
class Shift:
    """What a shift was."""

    hours: float
    joints: int
    alarms: list[Begun] = field(default_factory=list)
    told_us: dict[str, list[int]] = field(default_factory=dict)
    """By the name of a fault, how long each took to its first alarm."""
    missed: list[str] = field(default_factory=list)
    """Faults of which nobody was told."""
    false: list[Begun] = field(default_factory=list)
    """Alarms that no fault explains."""
    plays: int = 0
    floods_told: int = 0

    def take(self, notes: Iterable[ev.Note]) -> None:
        """What people were told in it."""
        for note in notes:
            self.floods_told += note.code == "alarm-flood"
            kind = BY_CODE.get(note.code)
            if kind is None or kind.priority is Priority.JOURNAL or note.joint is None:
                continue
            self.alarms.append(Begun(note.at_us, note.joint, note.code))

    @property
    def most(self) -> int:
        """The most alarms within any ten minutes."""
        at_us = [one.at_us for one in self.alarms]
        return max((sum(0 <= t - one <= WITHIN_US for t in at_us) for one in at_us), default=0)

    @property
    def chatter(self) -> int:
        """How often the same alarm began that often within a minute."""
        found = 0
        for same in Counter((one.joint, one.code) for one in self.alarms):
            at_us = [one.at_us for one in self.alarms if (one.joint, one.code) == same]
            later = zip(at_us, at_us[CHATTER - 1 :], strict=False)
            found += sum(last - first <= CHATTER_US for first, last in later)
        return found


@dataclass
class Spell:
    """A fault that befalls a joint."""

    fault: Fault
    joint: str
    at_us: int
    passed: list[int] | None = None
    """When its value passes its limit, once it does; None for at once."""

    def begin(self, world: World) -> None:
        """Let it happen now."""
        self.passed = self.fault.happen(world, self.joint, self.fault.for_s * US)

    @property
    def told_from_us(self) -> int:
        """From when on it could be told."""
        return self.passed[0] if self.passed else self.at_us


@dataclass(frozen=True)
class Case:
    """A shift to be: with so many rounds of all faults, none for a quiet one."""

    seed: int
    hours: float
    faults: tuple[Fault, ...]
    joints: int = 6
    network: str = "home"

    @property
    def long_us(self) -> int:
        """How long it is."""
        return round(self.hours * 3600 * US)


def shift(case: Case) -> Shift:
    """One shift: the arm plays a short move a minute; the faults befall it one after another."""
    calm = calm_arm(case.joints)
    made = VirtualArm(case.network, PROFILES[case.network], calm, case.seed)
    made.home()
    world, found = made.world, Shift(case.hours, case.joints)
    world.notes.clear()
    begun_us, end_us = world.now, world.now + case.long_us
    spells = drawn(case, calm, begun_us)
    for spell in spells:
        world.at(spell.at_us, spell.begin, world)
    while world.now < end_us:
        world.run_for(min(TURN_US, end_us - world.now))
        found.plays += operate(made)
        made.happened()  # what truly moved is nobody's question here
    found.take(world.notes)
    judge(found, spells)
    return found


def calm_arm(joints: int) -> Arm:
    """The bench's arm, whose joints' own controls nobody listens to."""
    made = arm(joints)
    return replace(made, joints=tuple(replace(one, touch=False) for one in made.joints))


def drawn(case: Case, of: Arm, begun_us: int) -> list[Spell]:
    """Which fault befalls which joint when: one after another, with time in between."""
    random = Random(f"alarms {case.seed}")
    faults = random.sample(case.faults, len(case.faults))
    slot_us = case.long_us // max(1, len(faults))
    spells: list[Spell] = []
    for k, fault in enumerate(faults):
        joint = random.choice(of.joints).name
        spare_us = max(0, slot_us - fault.for_s * US - AFTER_US)
        at_us = begun_us + k * slot_us + random.randrange(spare_us + 1)
        spells.append(Spell(fault, joint, at_us))
    return spells


def operate(made: VirtualArm) -> bool:
    """What an operator does once a minute; whether a program was begun."""
    world, core = made.world, made.world.core
    homing, run = core.homing, core.run
    if homing is not None and homing.state is HomingState.RUNNING:
        return False
    try:
        if run is not None and run.phase in (Phase.HELD, Phase.PAUSED):
            world.command(ev.Resume())
        elif run is None or run.phase is Phase.ENDED:
            made_run = core.run
            made.command_once(lambda at_deg: [next_deg(at_deg)])
            return core.run is not made_run
    except ev.Refused as refused:
        if refused.code in ("not-homed", "faulted"):
            homes(made)
    return False


def homes(made: VirtualArm) -> None:
    """Home all, if that may be now."""
    try:
        made.world.command(ev.Home())
    except ev.Refused:
        return


def judge(found: Shift, spells: Sequence[Spell]) -> None:
    """Which alarm is whose fault's, how long each took, and which are nobody's."""
    explained: set[Begun] = set()
    for spell in spells:
        fault, joint, at_us = spell.fault, spell.joint, spell.at_us
        last_us = at_us + fault.for_s * US + AFTER_US
        its = [
            one
            for one in found.alarms
            if one.joint == joint and one.code in fault.codes and at_us <= one.at_us <= last_us
        ]
        explained.update(its)
        if its:
            found.told_us.setdefault(fault.name, []).append(its[0].at_us - spell.told_from_us)
        elif fault.is_told:
            found.missed.append(f"{fault.name} of {joint}")
    found.false = [one for one in found.alarms if one not in explained]


def missed(shifts: Sequence[Shift]) -> list[str]:
    """Which goals these shifts miss."""
    told = []
    for number, one in enumerate(shifts):
        per_ten = len(one.alarms) / (6 * one.hours)
        if per_ten > PER_TEN_MINUTES:
            told.append(f"shift {number}: {per_ten:.2f} alarms in ten minutes on average")
        if one.most >= BEGINS_AT or one.floods_told:
            told.append(f"shift {number}: a flood, {one.most} alarms within ten minutes")
        if one.chatter:
            told.append(f"shift {number}: an alarm chatters")
        told += [f"shift {number}: nobody was told: {name}" for name in one.missed]
        told += [
            f"shift {number}: a false alarm: {a.code} of {a.joint} at {a.at_us / US:.0f} s"
            for a in one.false
        ]
    return told
