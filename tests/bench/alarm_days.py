"""Days of shifts without the whole world: what joints say goes to the alarm layer alone.

A hundred days of three joints are 160 million exchanges, and the alarm layer takes a tenth of a
millisecond and more for each. So of quiet time it is fed only where anything could begin an alarm
(`could_alarm`), with the stretch before, and a share besides to see whether that is so: a kind
begins none unless a look finds it bad, and what is asked is less than any look needs for that.
What a joint says goes on from stretch to stretch; the alarm layer begins anew with each that it is
fed, so `supply-short`, which goes back over hours, is only told of in shifts that are fed whole.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from random import Random

from coordinator.config.arm import Arm
from coordinator.rehearsal.software_joints import joint_settings
from protocol.constants import US
from simulator.network import PROFILES
from tests.bench.alarm_could import could_alarm
from tests.bench.alarm_feed import BEFALL, Fed
from tests.bench.alarm_nearest import Nearest
from tests.bench.alarm_says import Said, Speaker
from tests.bench.alarm_work import HARD, MINUTE_US, USUAL, chain_v, worked
from tests.bench.alarms import Begun, Case, Shift, Spell, calm_arm, drawn, judge

BEGIN_US = 1_000 * US
STRETCH_US = 30 * MINUTE_US
SEEN = 1 / 480
"""Of quiet stretches so large a share is fed whatever is said in it."""
TAIL_US = 600 * US
"""Of the stretch before: more than any look goes back."""
HARD_EACH = 4
"""Of so many quiet days one is of joints that work hard."""
AIR_C = 22.0, 5.0
"""Of quiet days: the mean, and how far the air goes to either side of it within a day."""


def arm_of(case: Case, *, hard: bool) -> Arm:
    """The arm of a quiet time."""
    arm = calm_arm(case.joints)
    return worked(arm, case.seed, sum(AIR_C)) if hard else arm


def speakers(
    case: Case, arm: Arm, spells: Sequence[Spell] = (), *, hard: bool = False
) -> list[Speaker]:
    """The joints of a shift, which begins at `BEGIN_US`; these faults have befallen them.

    Those that work hard share one supply; the others are alone on their hops, as in the bench's
    whole worlds.
    """
    settings = joint_settings(arm, case.seed)
    volts = chain_v(settings) if hard else [chain_v([one])[0] for one in settings]
    made = {
        joint.name: Speaker(
            one, PROFILES[case.network], joint.temperature_warning_c, BEGIN_US, volts_there,
            HARD if hard else USUAL,
        )
        for joint, one, volts_there in zip(arm.joints, settings, volts, strict=True)
    }  # fmt: skip
    for spell in spells:
        BEFALL[spell.fault.name](made[spell.joint], spell.at_us, spell.fault.for_s * US)
    return list(made.values())


def fed_shift(case: Case) -> Shift:
    """The same shift as `alarms.shift`, told by what its joints say alone."""
    arm = calm_arm(case.joints)
    spells = drawn(case, arm, BEGIN_US)
    joints = speakers(case, arm, spells)
    fed, found = Fed(arm, [one.clock for one in joints]), Shift(case.hours, case.joints)
    for from_us, to_us in stretches(case.long_us):
        fed.take([one.says(from_us, to_us) for one in joints], joints)
        found.plays += (to_us - from_us) // MINUTE_US
    found.take(fed.notes)
    for spell in spells:
        passed = (one.passed_us.get(spell.at_us) for one in joints)
        spell.passed = [at_us for at_us in passed if at_us is not None]
    judge(found, spells)
    return found


def stretches(long_us: int) -> Iterator[tuple[int, int]]:
    """The time of a shift in stretches."""
    for from_us in range(BEGIN_US, BEGIN_US + long_us, STRETCH_US):
        yield from_us, min(from_us + STRETCH_US, BEGIN_US + long_us)


@dataclass(slots=True)
class Quiet:
    """What quiet time was."""

    hours: float = 0.0
    joint_hours: float = 0.0
    exchanges: int = 0
    fed_hours: float = 0.0
    """Of joints, that the alarm layer itself was fed with."""
    could: dict[str, int] = field(default_factory=dict)
    """By why: stretches of a joint in which an alarm could have begun."""
    alarms: list[Begun] = field(default_factory=list)
    unforeseen: list[Begun] = field(default_factory=list)
    """Of these, those of joints in stretches where none of theirs could have begun."""
    nearest: Nearest = field(default_factory=Nearest)


@dataclass(frozen=True, slots=True)
class _Stretch:
    """What all joints said in one, base to tool."""

    from_us: int
    said: list[Said]
    could: frozenset[str]
    """The joints of which an alarm could have begun in it."""
    is_told: bool
    """Whether the alarm layer was fed with it, and its alarms are counted."""


def quiet_day(case: Case) -> Quiet:
    """A quiet time by its seed: every fourth is one of joints that work hard."""
    return quiet(case, hard=is_hard(case))


def is_hard(case: Case) -> bool:
    """Whether its joints work hard."""
    return case.seed % HARD_EACH == 0


def quiet(case: Case, spells: Sequence[Spell] = (), *, hard: bool = False) -> Quiet:
    """A quiet time; what people would have been told in it. `spells` disturb it."""
    arm = arm_of(case, hard=hard)
    joints = speakers(case, arm, spells, hard=hard)
    found, seen = Quiet(case.hours), Random(f"seen {case.seed}")
    before: _Stretch | None = None
    for from_us, to_us in stretches(case.long_us):
        said = [one.says(from_us, to_us, air_c(from_us)) for one in joints]
        found.joint_hours += _hours(said)
        found.exchanges += sum(len(one.sent_us) for one in said)
        could = set[str]()
        for k, joint in enumerate(arm.joints):
            earlier = None if before is None else before.said[k].last(TAIL_US)
            whole = said[k] if earlier is None else said[k].after(earlier)
            found.nearest.take(joint, whole)
            for words in could_alarm(joint, whole):
                found.could[words] = found.could.get(words, 0) + 1
                could.add(joint.name)
        fed = bool(could) or seen.random() < SEEN
        here = _Stretch(from_us, said, frozenset(could), fed)
        if fed:
            _feed(found, arm, joints, before, here)
        before = here
    return found


def _feed(
    found: Quiet, arm: Arm, joints: Sequence[Speaker], before: _Stretch | None, here: _Stretch
) -> None:
    """Feed the alarm layer with a stretch and the end of the one before, and count what it tells:
    of that one too, unless it was told already.
    """
    fed = Fed(arm, [one.clock for one in joints])
    if before is not None:
        tail = [one.last(TAIL_US) for one in before.said]
        fed.take(tail, joints)
        found.fed_hours += _hours(tail)
    fed.take(here.said, joints)
    found.fed_hours += _hours(here.said)
    told = Shift(found.hours, len(joints))
    told.take(fed.notes)
    for alarm in told.alarms:
        is_here = alarm.at_us >= here.from_us
        of = here if is_here or before is None else before
        if of is before and before.is_told:
            continue
        found.alarms.append(alarm)
        if alarm.joint not in of.could:
            found.unforeseen.append(alarm)


def air_c(at_us: int) -> float:
    """The air of a quiet day: coolest when it begins, warmest half a day later."""
    mean_c, apart_c = AIR_C
    return mean_c - apart_c * math.cos(math.tau * (at_us - BEGIN_US) / (24 * 3600 * US))


def _hours(said: Sequence[Said]) -> float:
    """Of joints."""
    return sum(len(one.read_us) for one in said) / 3600
