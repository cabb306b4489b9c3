"""Random scenarios: the same seed gives the same scenario."""

from dataclasses import replace
from random import Random

from tests.campaign.happenings import ON_NETWORK
from tests.campaign.scenario import LETTERS, REACH_DEG, Happening, Scenario

PROFILES = ("quiet", "quiet", "home", "home", "busy", "busy", "hostile")
BYTES_SHARE = 50
"""One scenario in so many goes through real bytes and tags."""
ARMS = 8
"""Kinds of arms of each number of joints that most scenarios are about; the rest have their own."""
JOINTS = (20, 40, 20, 10, 4, 4, 1, 1, 1, 1, 1, 1)
"""How often an arm has 1 to 12 joints: with a few, as much goes wrong in less time."""
END_MS = 9_000
"""Happenings begin up to here; programs take about so long."""
START_MS = 1_500
"""Loading, arming and the start itself fall into this time: much of what can go wrong does."""

LINK_FAULTS = ("outage", "loss", "delay", "reorder", "duplicate", "corrupt", "partition")
JOINT_FAULTS = (
    "reboot",
    "clock-step",
    "crystal",
    "hot",
    "driver",
    "supply",
    "lost-steps",
    "hall-high",
    "hall-low",
    "hall-noisy",
    "slow",
)
HOST_FAULTS = ("crash", "sleep", "second", "slew")
OPERATOR = ("hold", "resume", "stop", "home", "override", "play", "jog")
PLAYS_MS = (6_000, 11_000, 16_000)
"""After a crystal went out of tolerance: starts while it is not, or only just, found out."""


LONG_SHARE = 0.2
"""Scenarios of a long program in small buffers, which are fed while the arm moves."""
LONG_MOVES = (10, 16, 24, 32)
LONG_CAPACITIES = (16, 20, 24, 32, 48)
"""Points; a joint must hold 16 at least (`protocol/messages.py`), and a move has about 7."""
LONG_HAPPENINGS_MS = 20_000
"""Happenings of those begin up to here: such a program takes about so long."""


SAID_SHARE = 0.15
"""Scenarios in which something is said on the network of a joint, true or not."""
LOPSIDED_SHARE = 0.1
"""Scenarios whose links are slower one way for long, so that clocks are read wrong."""
STOPS_SHARE = 0.1
"""Scenarios with several stops while joints cannot be reached."""
OVERRIDES_SHARE = 0.1
"""Scenarios with several overrides, over parts and runs."""
HOLDS_SHARE = 0.05
"""Scenarios with a hold while a joint is being lost."""
HANDS_SHARE = 0.1
"""Scenarios in which hands jog and step several joints, while links and joints get worse."""
TOUCH_SHARE = 0.2
"""Scenarios in which joints' own controls are turned and pressed, or pages jog, at bad moments."""
TOOL_SHARE = 0.3
"""Scenarios whose program switches the gripper; in some of them a hand does too."""
PASSING_SHARE = 0.4
"""Scenarios whose program passes corners of its path, or keeps to it exactly, from a line on."""
ENTRY_SHARE = 0.1
"""Scenarios whose program is begun at a line in its middle, at which it waits for a resume."""
LOOPS_SHARE = 0.12
"""Scenarios whose plays are of several loops, or for a time."""
EDGES_UP_TO = 4
"""Joints of arms whose edges are checked between loops: each takes some seconds."""
LOOPS_MS = 25_000
"""Happenings of those begin up to here."""
IDLE_SHARE = 0.25
"""Scenarios whose arm reduces the currents of joints that rest."""
RESTS_MS = (1_000, 1_500, 3_000)
"""After so long at rest the arms do that (`scenario`)."""
NEXT_RUN_MS = 14_000
"""The second of those runs is asked for somewhat before this."""
RESUMES_MS = (2_500, 4_500, 6_500, 9_000)
"""After the beginning of each: from the pause between two parts, and from holds."""


def generate(seed: int) -> Scenario:
    """The scenario of a seed."""
    scenario, random = _of_any_length(seed), Random(f"said {seed}")
    more = []
    if random.random() < SAID_SHARE:
        more += [_said(random, scenario.joints) for _ in range(random.choice((1, 1, 2, 3)))]
    if random.random() < LOPSIDED_SHARE:
        more += _lopsided(random, scenario.joints)
    random = Random(f"several {seed}")
    if random.random() < STOPS_SHARE:
        more += _stops(random, scenario.joints)
    elif random.random() < OVERRIDES_SHARE:
        # Most of what else may happen ends a run before its second part.
        more = _overrides(random, scenario.joints)
        program = _with_pause(random, scenario.program)
        scenario = replace(scenario, program=program, happenings=())
    elif random.random() < HOLDS_SHARE:
        more, scenario = _hold(random, scenario.joints), replace(scenario, happenings=())
    elif random.random() < HANDS_SHARE:
        more += _hands(random, scenario.joints)
    random = Random(f"touched {seed}")
    if random.random() < TOUCH_SHARE:
        more = [*more, *_touches(random, scenario.joints)]
    random = Random(f"tool {seed}")
    if random.random() < TOOL_SHARE:
        scenario = replace(scenario, program=_with_tool(random, scenario.program))
        if random.random() < 0.5:
            more = [*more, *_switches(random, scenario.joints)]
    random = Random(f"passing {seed}")
    if random.random() < PASSING_SHARE:
        scenario = replace(scenario, program=_with_passing(random, scenario.program))
    random = Random(f"entry {seed}")
    if random.random() < ENTRY_SHARE:
        line = random.randrange(2, len(scenario.program) + 1)
        scenario = replace(scenario, from_line=line)
        resumes_ms = (random.randrange(START_MS, END_MS) for _ in range(2))
        more = [*more, *(Happening(at_ms, "resume") for at_ms in resumes_ms)]
    scenario = replace(scenario, happenings=(*scenario.happenings, *more))
    random = Random(f"loops {seed}")
    if random.random() < LOOPS_SHARE and not scenario.capacities:
        scenario = _in_loops(random, scenario)
    random = Random(f"rest {seed}")
    if random.random() < IDLE_SHARE:
        more = _rests(random, scenario.joints) if random.random() < 0.6 else []
        happenings = (*scenario.happenings, *more)
        scenario = replace(scenario, idle_current=True, happenings=happenings)
    happenings = tuple(sorted(scenario.happenings, key=lambda one: one.at_ms))
    return replace(scenario, happenings=happenings)


def _in_loops(random: Random, scenario: Scenario) -> Scenario:
    """A short program played several times or for a time, with edges checked in some of them; what
    strikes does so up to the last loop, in some of them nothing but what is new here.
    """
    between = scenario.program[3:-1]
    kept = sorted(random.sample(range(len(between)), min(len(between), random.choice((1, 2, 3)))))
    program = (*scenario.program[:3], *(between[k] for k in kept), "M2")
    check_edges = scenario.joints <= EDGES_UP_TO and random.random() < 0.5
    number = random.choice((None, 2, 3, 4))
    found = [Happening(random.randrange(LOOPS_MS), "resume") for _ in range(3)]
    others = [] if random.random() < 0.4 else _stretched(random, scenario.happenings)
    if random.random() < 0.4:
        found.append(
            Happening(random.randrange(LOOPS_MS), random.choice(("hold", "stop")), amount=1)
        )
    if check_edges and random.random() < 0.5:
        one, by_deg = (random.randrange(scenario.joints),), random.choice((-20.0, -8.0, 8.0, 20.0))
        found.append(Happening(random.randrange(START_MS, END_MS), "astray", one, amount=by_deg))
        if random.random() < 0.4:
            found.append(Happening(random.randrange(END_MS, LOOPS_MS), "crash", for_ms=500))
        found += [Happening(LOOPS_MS + later_ms, "play") for later_ms in (0, 5_000)]
    line = scenario.from_line
    return replace(
        scenario,
        program=program,
        happenings=(*others, *found),
        from_line=None if line is None else min(line, len(program)),
        loops=number,
        for_s=random.choice((4.0, 8.0, 15.0)) if number is None else None,
        check_edges=check_edges,
    )


def _stretched(random: Random, happenings: tuple[Happening, ...]) -> list[Happening]:
    later_ms = random.choice((0, LOOPS_MS - END_MS))
    return [replace(one, at_ms=one.at_ms + later_ms) for one in happenings]


def _rests(random: Random, joints: int) -> list[Happening]:
    """Rests after a stop or a hold, which end about when currents are reduced; in some cases a
    joint cannot be reached just then.
    """
    at_ms = random.randrange(200, 6_000)
    first = random.choice(("stop", "stop", "hold"))
    found = [Happening(at_ms, first, amount=1)]
    at_ms += random.choice((100, 700, 1_500))
    for _ in range(random.choice((1, 2, 3))):
        at_ms += max(0, random.choice(RESTS_MS) + random.randrange(-300, 400))
        some = tuple(sorted(random.sample(range(joints), random.randint(1, min(2, joints)))))
        what = random.choice(("jog", "step", "go", "hand", "turn", "play", "home"))
        if first == "hold":
            what, first = "resume", "stop"
        for_ms = random.choice((300, 800)) if what in ("jog", "go", "hand", "turn") else 0
        found.append(Happening(at_ms, what, some, for_ms, random.choice((-1.0, 1.0))))
        if random.random() < 0.4:
            cut_ms, one = at_ms + random.randrange(-800, 50), (random.randrange(joints),)
            ways = random.choice((("forward", "back"), ("forward",), ("back",)))
            for_ms = random.choice((150, 400, 1_500, 4_000))
            found.append(Happening(max(0, cut_ms), "outage", one, for_ms, ways=ways))
        at_ms += for_ms
        if what in ("play", "home", "resume"):
            at_ms += random.choice((500, 4_000))
            found.append(Happening(at_ms, "stop", amount=1))
            at_ms += random.choice((100, 1_000))
    return found


def _stops(random: Random, joints: int) -> list[Happening]:
    """Two stops of any levels while some joints are not reached, often over a session's end."""
    at_ms = random.randrange(END_MS)
    struck = tuple(sorted(random.sample(range(joints), random.randint(1, joints))))
    ways = random.choice((("forward", "back"), ("forward",)))
    found = [Happening(at_ms, "outage", struck, random.choice((300, 800, 2_500)), ways=ways)]
    for _ in range(2):
        at_ms += random.randrange(20, 150)
        found.append(Happening(at_ms, "stop", amount=random.choice((1, 2, 3))))
    if random.random() < 0.6:
        found.append(Happening(at_ms + 20, "sleep", for_ms=random.choice((1_000, 3_000))))
    return found


def _overrides(random: Random, joints: int) -> list[Happening]:
    """Several overrides one after another, in two parts and in two runs; in some cases a joint's
    answers are lost, so that one is withdrawn, and a hold comes before that.
    """
    found = []
    for begin_ms in (START_MS, NEXT_RUN_MS):
        at_ms = begin_ms + random.randrange(2_000)
        for _ in range(random.choice((2, 3, 4))):
            amount = random.choice((5, 5, 10, 25, 50, 100))
            found.append(Happening(at_ms, "override", amount=amount))
            if random.random() < 0.6:
                one, ways = (random.randrange(joints),), random.choice((("back",), ("forward",)))
                for_ms = random.choice((150, 250, 400, 600))
                found.append(Happening(at_ms, "outage", one, for_ms, ways=ways))
                if random.random() < 0.3:
                    found.append(Happening(at_ms + random.randrange(20, 600), "hold"))
            at_ms += random.choice((300, 1_000, 2_000))
        found += [Happening(begin_ms + later_ms, "resume") for later_ms in RESUMES_MS]
    stop = Happening(NEXT_RUN_MS - 2_500, "stop", amount=1)
    return [*found, stop, Happening(NEXT_RUN_MS - 1_500, "play")]


def _hold(random: Random, joints: int) -> list[Happening]:
    """A hold while a joint is being lost, on links that had a gap: so it gives all long to hear of
    it.
    """
    gap_ms = START_MS + random.randrange(2_500)
    lost_ms = gap_ms + random.randrange(600, 2_000)
    gap, lost = ((random.randrange(joints),) for _ in range(2))
    return [
        Happening(gap_ms, "outage", gap, random.choice((300, 400))),
        Happening(lost_ms, "outage", lost, 1_200),
        Happening(lost_ms + random.randrange(200, 500), "hold"),
    ]


def _hands(random: Random, joints: int) -> list[Happening]:
    """A stop ends what is played; then jogs of several joints, ways to a place and runs of steps,
    one after another, some of them while another is under way, a hold or a stop among them.
    """
    places = Random(f"places {random.getrandbits(63)}")
    at_ms = random.randrange(200, 1_500)
    found = [Happening(at_ms, "stop", amount=1)]
    at_ms += random.randrange(800, 2_000)
    for _ in range(random.choice((2, 3, 4))):
        some = tuple(sorted(random.sample(range(joints), random.randint(1, min(3, joints)))))
        if random.random() < 0.5:
            velocity_deg_s = random.choice((-10.0, -1.0, 1.0, 10.0))
            for_ms = random.choice((200, 800, 1_500))
            found.append(Happening(at_ms, "jog", some, for_ms, velocity_deg_s))
            at_ms += random.choice((300, for_ms + 100, for_ms + 600))
        elif places.random() < 0.3:
            for_ms = places.choice((300, 1_000, 2_500))
            amount = places.choice((-8.0, -0.5, 0.5, 8.0))
            found.append(Happening(at_ms, "go", some, for_ms, amount))
            at_ms += places.choice((for_ms // 2, for_ms + 100, for_ms + 800))
        else:
            for _ in range(random.choice((1, 3, 8))):
                by_deg = random.choice((-1.0, -0.1, 0.01, 0.1, 1.0))
                found.append(Happening(at_ms, "step", some, amount=by_deg))
                at_ms += random.choice((20, 100, 300))
            at_ms += random.choice((0, 500, 1_500))
        if random.random() < 0.2:
            what = random.choice(("hold", "stop"))
            found.append(Happening(at_ms, what, amount=1))
            at_ms += random.choice((50, 800))
    return found


def _touches(random: Random, joints: int) -> list[Happening]:
    """Controls turned and pressed and hands of pages, mostly once a stop has ended what is played;
    something bad befalls some of them in the middle.
    """
    at_ms = random.randrange(200, 3_000)
    found = []
    if random.random() < 0.8:
        found.append(Happening(at_ms, "stop", amount=1))
        at_ms += random.randrange(800, 2_000)
    for _ in range(random.choice((2, 4, 6))):
        some = tuple(sorted(random.sample(range(joints), random.randint(1, min(2, joints)))))
        for_ms = random.choice((0, 300, 1_000, 2_000))
        kind = random.random()
        if kind < 0.4:
            # A hundred detents a second is as fast as a hand turns a knob.
            most = max(1, for_ms // 10)
            detents = random.choice((-1, 1)) * random.choice((1, 3, min(10, most), most))
            found.append(Happening(at_ms, "turn", some, for_ms, float(detents)))
        elif kind < 0.55:
            what = random.choice(("press", "press", "long-press"))
            times = random.choice((1, 1, 2, max(1, for_ms // 10)))
            found.append(Happening(at_ms, what, some, for_ms, float(times)))
        else:
            for_ms = random.choice((300, 1_000, 2_000))
            ways = _befalls(random)
            amount = random.choice((-8.0, -1.0, 1.0, 8.0)) * (0.05 if "step" in ways else 1.0)
            found.append(Happening(at_ms, "hand", some, for_ms, amount, ways))
        if random.random() < 0.4:
            bad_ms = at_ms + random.randrange(-300, for_ms + 100)
            found.append(_bad_moment(random, max(0, bad_ms), some))
        at_ms += random.choice((50, for_ms // 2, for_ms + 100, for_ms + 1_500))
    return found


def _befalls(random: Random) -> tuple[str, ...]:
    """What a page's hand holds, and what becomes of its wishes and of itself."""
    ways = [one for one in ("late", "twice", "mixed") if random.random() < 0.3]
    ways += [one for one, share in (("gone", 0.3), ("other", 0.4)) if random.random() < share]
    kind = random.random()
    holds = ["step"] if kind < 0.25 else ["go"] if kind < 0.4 else ["home"] if kind < 0.55 else []
    return (*holds, *ways)


def _bad_moment(random: Random, at_ms: int, some: tuple[int, ...]) -> Happening:
    """A gap, a restart, a fault, a sleep or an operator, while a hand is at it."""
    what = random.choice(
        ("outage", "outage", "outage", "delay", "reboot", "driver", "crash", "sleep",
         "hold", "stop", "play", "home", "press")
    )  # fmt: skip
    if what == "outage":
        for_ms = random.choice((150, 600, 1_300, 3_000))
        ways = random.choice((("forward", "back"), ("forward",), ("back",)))
        return Happening(at_ms, what, some, for_ms, ways=ways)
    if what == "delay":
        return Happening(at_ms, what, some, 2_000, random.choice((100_000.0, 400_000.0)))
    if what in ("reboot", "driver", "press"):
        return Happening(at_ms, what, some[:1], 100, 1.0)
    for_ms = {"crash": 500, "sleep": random.choice((300, 3_000))}.get(what, 0)
    return Happening(at_ms, what, for_ms=for_ms, amount=1)


def _with_pause(random: Random, program: tuple[str, ...]) -> tuple[str, ...]:
    """The same with an M0 more, so that overrides meet two parts."""
    at = random.randrange(2, len(program))
    return (*program[:at], "M0", *program[at:])


def _with_tool(random: Random, program: tuple[str, ...]) -> tuple[str, ...]:
    """The same with some M3 and M5 more."""
    lines = list(program)
    for _ in range(random.choice((1, 2, 4))):
        lines.insert(random.randrange(2, len(lines)), random.choice(("M3", "M3", "M5")))
    return tuple(lines)


def _with_passing(random: Random, program: tuple[str, ...]) -> tuple[str, ...]:
    """The same with its path control changed once or twice."""
    lines = list(program)
    for _ in range(random.choice((1, 1, 2))):
        control = random.choice(("G64", "G64 P0.3", "G64 P0.05", "G61", "G61.1"))
        lines.insert(random.randrange(1, len(lines)), control)
    return tuple(lines)


def _switches(random: Random, joints: int) -> list[Happening]:
    """A hand switches the gripper, mostly once a stop or a hold makes that possible; in some cases
    its joint is cut off just before.
    """
    at_ms = random.randrange(END_MS)
    first = random.choice(("stop", "stop", "hold"))
    found = [Happening(at_ms, first, amount=1)]
    for _ in range(random.choice((1, 2))):
        at_ms += random.choice((20, 600, 1_500))
        found.append(Happening(at_ms, "switch", amount=random.choice((0, 1, 1))))
    if random.random() < 0.3:
        found.append(Happening(at_ms - 20, "outage", (joints - 1,), 2_500))
    return found


def _said(random: Random, joints: int) -> Happening:
    what = random.choice(ON_NETWORK)
    one = (random.randrange(joints),)
    amount = random.choice((0.0, 1.0, 2.0))
    return Happening(random.randrange(END_MS), what, one, random.choice((2_000, 9_000)), amount)


def _lopsided(random: Random, joints: int) -> list[Happening]:
    """Some links are slower one way for long; in half of the cases for a coordinator that begins
    anew, and so never knew them otherwise.
    """
    at_ms = random.choice((0, 0, random.randrange(END_MS)))
    struck = tuple(sorted(random.sample(range(joints), random.randint(1, joints))))
    amount = random.choice((10_000.0, 15_000.0, 80_000.0, 80_000.0))
    way = (random.choice(("forward", "back")),)
    if random.random() < 0.5:
        for_ms = random.choice((3_000, 8_000, 15_000))
        return [Happening(at_ms, "delay", struck, for_ms, amount, way)]
    for_ms = random.choice((18_000, 25_000))
    plays = [Happening(at_ms + later_ms, "play") for later_ms in (12_000, 17_000)]
    crash = Happening(at_ms + 300, "crash", for_ms=200)
    return [Happening(at_ms, "delay", struck, for_ms, amount, way), crash, *plays]


def _of_any_length(seed: int) -> Scenario:
    scenario, random = _short(seed), Random(f"long {seed}")
    if random.random() >= LONG_SHARE:
        return scenario
    later = [
        replace(one, at_ms=one.at_ms + (LONG_HAPPENINGS_MS - END_MS))
        if random.random() < 0.5 else one
        for one in scenario.happenings
    ]  # fmt: skip
    return replace(
        scenario,
        program=tuple(_long_program(random, scenario.joints)),
        happenings=tuple(sorted(later, key=lambda one: one.at_ms)),
        capacities=tuple(random.choice(LONG_CAPACITIES) for _ in range(scenario.joints)),
    )


def _short(seed: int) -> Scenario:
    random = Random(f"scenario {seed}")
    joints = random.choices(range(1, 13), JOINTS)[0]
    full = random.random() < 0.1
    from_begin = random.random() < 0.1
    happenings = [
        happening for _ in range(random.choice((0, 1, 1, 2, 2, 3, 4, 6)))
        for happening in _happening(random, joints)
    ]  # fmt: skip
    return Scenario(
        seed=seed,
        joints=joints,
        arm_seed=random.randrange(10_000 if from_begin or full else ARMS),
        profile=random.choice(PROFILES),
        program=tuple(_program(random, joints)),
        happenings=tuple(sorted(happenings, key=lambda one: one.at_ms)),
        capacities=tuple(random.choice((24, 40, 64)) for _ in range(joints)) if full else (),
        real_bytes=seed % BYTES_SHARE == 0,
        from_begin=from_begin,
    )


def _program(random: Random, joints: int) -> list[str]:
    # The first line moves wherever the last play ended.
    lines = ["G90 G94", "G0 A1.5", "G0 A-1.5"]
    for _ in range(random.choice((1, 2, 3, 4))):
        words = [
            f"{letter}{random.uniform(-REACH_DEG, REACH_DEG):.2f}"
            for letter in LETTERS[:joints]
            if random.random() < 0.8
        ] or [f"A{random.uniform(-REACH_DEG, REACH_DEG):.2f}"]
        if random.random() < 0.5:
            lines.append("G0 " + " ".join(words))
        else:
            lines.append(f"G1 {' '.join(words)} F{random.choice((600, 1200, 3000))}")
        if random.random() < 0.15:
            lines.append(f"G4 P{random.uniform(0.1, 1.0):.2f}")
        if random.random() < 0.05:
            lines.append("M0")
    return [*lines, "M2"]


def _long_program(random: Random, joints: int) -> list[str]:
    """Many moves: fast ones, slow ones, and paths of short pieces."""
    lines, letters = ["G90 G94", "G0 A1.5", "G0 A-1.5"], LETTERS[:joints]
    reach_deg = random.choice((10.0, 25.0, REACH_DEG))
    for _ in range(random.choice(LONG_MOVES)):
        words = " ".join(
            f"{letter}{random.uniform(-reach_deg, reach_deg):.2f}" for letter in letters
        )
        lines.append(f"G0 {words}" if random.random() < 0.3 else f"G1 {words} F{_feed(random)}")
        if random.random() < 0.1:
            lines.append(f"G4 P{random.uniform(0.1, 1.0):.2f}")
    return [*lines, "M2"]


def _feed(random: Random) -> int:
    return random.choice((600, 1200, 3000))


def _happening(random: Random, joints: int) -> list[Happening]:
    at_ms = random.randrange(START_MS if random.random() < 0.4 else END_MS)
    one = (random.randrange(joints),)
    kind = random.random()
    if kind < 0.40:
        return [_link_fault(random, joints, at_ms, one)]
    if kind < 0.58:
        fault = _joint_fault(random, at_ms, one)
        if fault.what == "crystal":
            return [fault, *(Happening(at_ms + later_ms, "play") for later_ms in PLAYS_MS)]
        return [fault]
    if kind < 0.70:
        what = random.choice(HOST_FAULTS)
        for_ms = {
            "crash": random.choice((200, 1_000, 3_000, 8_000)),
            "sleep": random.choice((100, 300, 1_000, 3_000, 10_000, 60_000)),
            "second": random.choice((2_000, 10_000)),
            "slew": 10_000,
        }[what]
        return [Happening(at_ms, what, for_ms=for_ms, amount=random.choice((-500, 500)))]
    what = random.choice(OPERATOR)
    if what == "override":
        return [Happening(at_ms, what, amount=random.choice((5, 10, 25, 50, 80, 100)))]
    if what == "stop":
        return [Happening(at_ms, what, amount=random.choice((1, 1, 2, 3)))]
    if what == "jog":
        return [Happening(at_ms, what, one, 500, random.choice((-10.0, -1.0, 1.0, 10.0)))]
    if what == "hold" and random.random() < 0.6:
        resumed = Happening(at_ms + random.randrange(500, 4_000), "resume")
        return [Happening(at_ms, what), resumed]
    return [Happening(at_ms, what)]


def _link_fault(random: Random, joints: int, at_ms: int, one: tuple[int, ...]) -> Happening:
    what = random.choice(("outage", *LINK_FAULTS))
    ways = random.choice((("forward", "back"), ("forward", "back"), ("forward",), ("back",)))
    if what == "partition":
        some = tuple(sorted(random.sample(range(joints), random.randint(1, joints))))
        return Happening(at_ms, "outage", some, random.choice((300, 800, 1_500, 4_000)), ways=ways)
    if what == "outage":
        for_ms = random.choice((100, 200, 300, 500, 800, 1_200, 2_000, 5_000, 12_000))
        return Happening(at_ms, what, one, for_ms, ways=ways)
    amount = {
        "loss": random.choice((0.2, 0.5, 0.8)),
        "delay": random.choice((20_000.0, 100_000.0, 400_000.0)),
        "reorder": random.choice((0.1, 0.5)),
        "duplicate": random.choice((0.1, 0.5)),
        "corrupt": random.choice((0.1, 0.5)),
    }[what]
    struck = one
    if random.random() < 0.3:
        struck = tuple(sorted(random.sample(range(joints), random.randint(1, joints))))
    return Happening(at_ms, what, struck, random.choice((500, 1_500, 4_000)), amount, ways)


def _joint_fault(random: Random, at_ms: int, one: tuple[int, ...]) -> Happening:
    what = random.choice((*JOINT_FAULTS, "reboot", "reboot"))
    for_ms = {
        "reboot": random.choice((50, 500, 2_000, 7_000)),
        "hot": 3_000,
        "supply": random.choice((500, 3_000)),
        "crystal": 20_000,
        "hall-noisy": 3_000,
        "hall-high": 5_000,
        "hall-low": 5_000,
        "slow": 3_000,
    }.get(what, 0)
    amount = {
        "clock-step": random.choice((-200_000.0, -3_000.0, 300.0, 5_000.0, 1e6)),
        "crystal": random.choice((-300.0, 200.0, 2_000.0)),
        "lost-steps": random.choice((-20_000.0, 3_000.0)),
        "slow": random.choice((10_000.0, 80_000.0, 300_000.0)),
    }.get(what, 0.0)
    return Happening(at_ms, what, one, for_ms, amount)
