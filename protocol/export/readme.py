"""The parts of README.md that are made from the code, so that they cannot grow stale.

Each stands in README.md between `<!-- begin: NAME -->` and `<!-- end: NAME -->`.
"""

from protocol import ntp
from protocol.clockmap import ArmClock, ClockMap
from protocol.fixedpoint import ONE_US, WholeCourse, WholeRamp
from protocol.largest import sizes
from protocol.light import BLINK, NUMBERS, PATTERNS
from protocol.pathtime import Course, RateChange
from protocol.points import Point
from protocol.ramp import Ramp
from protocol.rejects import REJECTS
from protocol.segments import check_segment, peaks, rounding_allowance
from protocol.states import Trigger, mermaid


def blocks() -> dict[str, str]:
    """Every generated part by its name."""
    return {
        "states": f"```mermaid\n{mermaid()}\n```",
        "triggers": _table(
            ["trigger", "what happened"], [[one.name.lower(), one.value] for one in Trigger]
        ),
        "rejects": _table(
            ["code", "meaning"], [[f"`{code}`", text] for code, text in REJECTS.items()]
        ),
        "sizes": _table(
            ["message", "bytes"], [[f"`{name}`", str(size)] for name, size in sizes().items()]
        ),
        "light": _light(),
        "timestamp": _timestamp(),
        "ramp": _ramp(),
        "whole": _whole(),
        "path-time": _path_time(),
        "clock": _clock(),
        "segment": _segment(),
    }


def fill(text: str) -> str:
    """README.md with every block renewed. Raises ValueError when a marker is missing."""
    for name, block in blocks().items():
        begin, end = f"<!-- begin: {name} -->\n", f"\n<!-- end: {name} -->"
        before, found, rest = text.partition(begin)
        _, closed, after = rest.partition(end)
        if not found or not closed:
            raise ValueError(f"README.md lacks the markers of the block {name!r}")
        text = before + begin + block + end + after
    return text


def _table(head: list[str], rows: list[list[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(cells) + " |" for cells in lines)


def _light() -> str:
    words = [(str(NUMBERS[word]), f"`{word}`", PATTERNS[word]) for word in NUMBERS]
    rows = [
        [number, word, ", ".join(f"{part // 1000}" for part in pattern)]
        for number, word, pattern in [*words, ("", "blink", BLINK)]
    ]
    return _table(["number", "word", "ms on, off, on, …, again and again"], rows)


def _ramp() -> str:
    rows = [f"{time:6d} {rate:7d}" for time, rate in Ramp.for_ratio(0.5).rows]
    columns = [rows[k : k + 11] for k in range(0, len(rows), 11)]
    lines = ["   ".join(column[k] for column in columns) for k in range(11)]
    head = "   ".join(["    µs     ppm"] * len(columns))
    return "\n".join(["```text", head, *lines, "```"])


def _path_time() -> str:
    ramp = Ramp.for_ratio(0.5)
    change = RateChange(5_000_000, 0, 0, 1_000_000)
    course = Course.of(change, ramp)
    (_, _), (time_1, ppm_1), (time_2, ppm_2) = ramp.rows[:3]
    early, later = 100_000, 150_000
    permit_us = 2_000_000
    permit_at = course.when(permit_us)
    assert permit_at is not None, "a course that goes on at full rate reaches every permit"
    fall = course.fall(permit_at, permit_us)
    slower = Course(7_000_000, course.at(7_000_000)[0], 1.0, 0.5, ramp)
    return f"""\
Rate change: arm time {change.at_us}, path time 0, rate 0 to 1000000 ppm, with the ramp above.

- At arm time {change.at_us + early} the time from rest is {early} µs, within the first piece
  (0 to {time_1} µs). Rate = {ppm_1 / 1e6} · {early} / {time_1} = {course.at(5_100_000)[1]:.6f}.
  Path time = ½ · {early} · {course.at(5_100_000)[1]:.6f} = {course.at(5_100_000)[0]:.3f} µs.
- At arm time {change.at_us + later} it is in the second piece ({time_1} to {time_2} µs).
  Rate = {ppm_1 / 1e6} + ({ppm_2 / 1e6} − {ppm_1 / 1e6}) · {later - time_1} / {time_2 - time_1}
  = {course.at(5_150_000)[1]:.6f}. Path time = ½ · {time_1} · {ppm_1 / 1e6}
  + {later - time_1} · ½ · ({ppm_1 / 1e6} + {course.at(5_150_000)[1]:.6f})
  = {course.at(5_150_000)[0]:.3f} µs.
- The rate is full from arm time {course.settled_us:.0f} on, at path time
  {course.settled_path_us:.3f} µs. From there on path time grows as fast as arm time.
- A permit of {permit_us} µs is reached at arm time {permit_us} − {course.settled_path_us:.3f}
  + {course.settled_us:.0f} = {permit_at:.3f}. There the ramp down begins. It takes
  {ramp.duration_us:.0f} µs and covers {ramp.path_us:.3f} µs of path, so the joint comes to rest at
  arm time {fall.settled_us:.3f} and path time {fall.settled_path_us:.3f}.
- An override to 50 % at arm time {slower.at_us} carries path time {round(slower.path_us)}, rate
  before 1000000 and after 500000 ppm. Rate 0.5 lies at time {ramp.time(0.5):.3f} µs of the table,
  so the change takes {ramp.duration_us:.0f} − {ramp.time(0.5):.3f}
  = {slower.settled_us - slower.at_us:.3f} µs and covers
  {slower.settled_path_us - slower.path_us:.3f} µs of path."""


def _timestamp() -> str:
    joint_us = 61_234_567
    stamp = ntp.timestamp(joint_us)
    seconds, rest = divmod(joint_us + ntp.BOOT_EPOCH_S * 1_000_000, 1_000_000)
    fraction = stamp & 0xFFFFFFFF
    return f"""\
Joint time {joint_us} µs, with the second that is added: {seconds} s and {rest} µs.

- Seconds: {seconds} = 0x{stamp >> 32:08x}.
- Fraction: {rest}·2³²/1000000 = {rest * 2**32 / 1e6:.1f}, so {fraction} = 0x{fraction:08x}.
- The timestamp is 0x{stamp:016x}. Taken apart so, no product passes 2⁵².
- Back: {fraction}·1000000/2³² = {fraction * 1e6 / 2**32:.4f} µs."""


def _whole() -> str:
    ramp = WholeRamp(list(Ramp.for_ratio(0.5).rows))
    (_, _), (t_1, r_1), (t_2, r_2) = ramp.rows[:3]
    change = RateChange(5_000_000, 0, 0, 1_000_000)
    course = WholeCourse.of(change, ramp)
    y = ONE_US * (150_000 - t_1)
    gained = y * (r_2 - r_1) // (t_2 - t_1)
    path = course.path_at(ONE_US * 5_150_000)
    permit = ONE_US * 2_000_000
    arm = course.when(permit)
    assert arm is not None, "a course that goes on at full rate reaches every permit"
    rest = course.fall(arm, permit).settled_path
    return f"""\
The start of the example above: S₁ = {r_1}·{t_1} = {r_1 * t_1} and P₁ = {ramp.paths[1]}.
At arm time 5150000 it is x = 256·150000, in piece 1: y = 256·{150_000 - t_1} = {y},
q = {y}·{r_2 - r_1} ÷ {t_2 - t_1} = {gained},
P = {ramp.paths[1]} + {y}·(512·{r_1} + {gained}) ÷ 512000000 = {path},
which is {path / ONE_US:.3f} µs. The permit of 2000000 µs, met at full rate, leads to rest at
256·2000000 + P(256·{ramp.rows[-1][0]}) = {rest}, which is {rest / ONE_US:.3f} µs and rounds
to {(rest + ONE_US // 2) // ONE_US}."""


def _clock() -> str:
    first = ClockMap(1, 5_000_000, 60_000_000, 20_000)
    second = ClockMap(2, 6_000_300, 61_000_020, 20_000)
    clock = ArmClock(first)
    taken = 61_000_020
    before = clock.arm(taken)
    clock.accept(second, taken, jump=False)
    half = taken + 500_000
    target = 6_200_000
    return f"""\
Map 1: arm time {first.arm_us}, joint time {first.joint_us}, rate {first.rate_ppb} ppb. The joint's
crystal runs 20 ppm fast. Arm time 6000000 is joint time
60000000 + 1000000 · 1.00002 = {first.to_joint(6_000_000):.0f}.

At joint time {taken}, while moving, the joint takes map 2: arm time {second.arm_us}, joint time
{second.joint_us}, rate {second.rate_ppb} ppb. By map 1 arm time is {before:.0f}, by map 2 it is
{second.to_arm(taken):.0f}. The remainder is {before:.0f} − {second.to_arm(taken):.0f}
= {clock.remainder_us(taken):.0f} µs: the arm clock still reads {clock.arm(taken):.0f}.

- 500000 µs of joint time later, 500000 · 200 / 1000000 = 100 µs of it are gone. The remainder is
  {clock.remainder_us(half):.0f} µs. Map 2 says {second.to_arm(half):.3f}, so the arm clock reads
  {clock.arm(half):.3f}.
- The arm clock reads {target} at joint time {clock.joint(target):.3f}. By map 2 alone it would be
  {second.to_joint(target):.3f}.
- The remainder is gone after 300 · 1000000 / 200 = 1500000 µs, at joint time
  {taken + 1_500_000}."""


def _segment() -> str:
    a, b = Point(0, 0, 0), Point(100_000, 21_841, 436_800)
    velocity, acceleration = peaks(a, b)
    more_velocity, more_acceleration = rounding_allowance(a, b)
    verdict = "passes" if check_segment(a, b, 2_730_000, 5_460_000) is None else "fails"
    return f"""\
From rest to position {b.position} and velocity {b.velocity} in h = 0.1 s, limits 2730000 counts/s
and 5460000 counts/s²:

- acceleration at the ends: 6·218410/h − 2·436800/h = 4368600, and −6·218410/h + 4·436800/h =
  4367400; the peak is {acceleration:.0f}. Allowed are 0.8 · 5460000 = 4368000, plus
  6/h² + 3/h = {more_acceleration:.0f} for rounding.
- velocity: the peak is {velocity:.0f}. Allowed are 2730000 plus 1.5/h + 1 = {more_velocity:.0f}.
- velocity gained: 436800. Allowed are 4368000 · 0.1 + 1 = 436801.

The segment {verdict}."""
