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

from coordinator.rehearsal.software_joints import joint_settings
from protocol.constants import US
from simulator.network import PROFILES
from tests.bench.alarm_could import could_alarm
from tests.bench.alarm_feed import BEFALL, Fed
from tests.bench.alarm_says import MINUTE_US, Said, Speaker
from tests.bench.alarms import Begun, Case, Shift, Spell, calm_arm, drawn, judge

BEGIN_US = 1_000 * US
STRETCH_US = 30 * MINUTE_US
SEEN = 1 / 480
"""Of quiet stretches so large a share is fed whatever is said in it."""
AIR_C = 22.0, 5.0
"""Of quiet days: the mean, and how far the air goes to either side of it within a day."""


def speakers(case: Case, spells: Sequence[Spell] = ()) -> list[Speaker]:
    """The joints of a shift, which begins at `BEGIN_US`; these faults have befallen them."""
    arm = calm_arm(case.joints)
    made = {
        joint.name: Speaker(settings, PROFILES[case.network], joint.temperature_warning_c, BEGIN_US)
        for joint, settings in zip(arm.joints, joint_settings(arm, case.seed), strict=True)
    }
    for spell in spells:
        BEFALL[spell.fault.name](made[spell.joint], spell.at_us, spell.fault.for_s * US)
    return list(made.values())


def fed_shift(case: Case) -> Shift:
    """The same shift as `alarms.shift`, told by what its joints say alone."""
    arm = calm_arm(case.joints)
    spells = drawn(case, arm, BEGIN_US)
    joints = speakers(case, spells)
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


@dataclass
class Quiet:
    """What quiet time was."""

    joint_hours: float = 0.0
    exchanges: int = 0
    fed_hours: float = 0.0
    """Of joints, that the alarm layer itself was fed with."""
    could: dict[str, int] = field(default_factory=dict)
    """By why: stretches of a joint in which an alarm could have begun."""
    alarms: list[Begun] = field(default_factory=list)
    unforeseen: list[Begun] = field(default_factory=list)
    """Of these, those in stretches where none could have begun."""


def quiet(case: Case) -> Quiet:
    """A quiet time; what people would have been told in it."""
    arm, joints = calm_arm(case.joints), speakers(case)
    found, seen = Quiet(), Random(f"seen {case.seed}")
    before: list[Said] | None = None
    for from_us, to_us in stretches(case.long_us):
        mean_c, apart_c = AIR_C
        air_c = mean_c - apart_c * math.cos(math.tau * (from_us - BEGIN_US) / (24 * 3600 * US))
        said = [one.says(from_us, to_us, air_c) for one in joints]
        found.joint_hours += len(joints) * (to_us - from_us) / (3600 * US)
        found.exchanges += sum(len(one.sent_us) for one in said)
        why = [
            could_alarm(joint, what, None if before is None else before[k])
            for k, (joint, what) in enumerate(zip(arm.joints, said, strict=True))
        ]
        for one in why:
            for words in one:
                found.could[words] = found.could.get(words, 0) + 1
        if any(why) or seen.random() < SEEN:
            fed = Fed(arm, [one.clock for one in joints])
            for some in (before, said):
                if some is not None:
                    fed.take(some, joints)
                    found.fed_hours += len(joints) * (to_us - from_us) / (3600 * US)
            told = Shift(case.hours, case.joints)
            told.take(note for note in fed.notes if note.at_us >= from_us)
            found.alarms += told.alarms
            names = {joint.name for joint, one in zip(arm.joints, why, strict=True) if one}
            found.unforeseen += [one for one in told.alarms if one.joint not in names]
        before = said
    return found
