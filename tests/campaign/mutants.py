"""Safeguards to be taken out one by one, which the campaign must notice (`hunting`).

Each mutant is a change of the source, made in a copy of the tree. The text to be replaced must
stand there exactly once, so a mutant that no longer fits the code is an error, not a pass.
"""

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
CORE, JOINT, API = "coordinator/core", "simulator/joint", "coordinator/api"


@dataclass(frozen=True, slots=True)
class Edit:
    """One replacement in one file."""

    path: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class Mutant:
    """A safeguard and how it is taken out."""

    what: str
    edits: tuple[Edit, ...]

    @property
    def slug(self) -> str:
        """A file name for the scenario that catches it."""
        return re.sub(r"[^a-z]+", "-", self.what.lower()).strip("-")


def changed(mutant: Mutant, tree: Path) -> dict[Path, str]:
    """The sources as a mutant has them. Raises ValueError where a text is not there just once."""
    texts: dict[Path, str] = {}
    for edit in mutant.edits:
        path = tree / edit.path
        text = texts.get(path) or path.read_text()
        if text.count(edit.old) != 1:
            raise ValueError(
                f"mutant {mutant.what!r}: {edit.path} has {text.count(edit.old)} times {edit.old!r}"
            )
        texts[path] = text.replace(edit.old, edit.new)
    return texts


def _one(what: str, path: str, old: str, new: str) -> Mutant:
    return Mutant(what, (Edit(path, old, new),))


MUTANTS = (
    _one(
        "arm echo: go is sent without waiting for all to comply with arm",
        f"{CORE}/run/start.py",
        "if self._all_comply(now) and uncertain is None:\n            self._go(now)",
        "if True:\n            self._go(now)",
    ),
    _one(
        "go echo: the permit is renewed without waiting for all to echo go",
        f"{CORE}/run/start.py",
        "if self._all_comply(now):\n            for link in",
        "if True:\n            for link in",
    ),
    _one(
        "plan number: any echo counts",
        f"{CORE}/link/link.py",
        "self.status.plan == plan.number",
        "self.status.plan != 0",
    ),
    _one(
        "permit, joint: it is not obeyed",
        f"{JOINT}/path.py",
        "if permit_us is not None and not self.covers_end(permit_us):",
        "if False:",
    ),
    _one(
        "permit, coordinator: offered without regard to the lowest",
        f"{CORE}/run/permit.py",
        "min(self.floor_us + window, reach)",
        "reach",
    ),
    _one(
        "levelling",
        f"{CORE}/run/permit.py",
        "if left_us is not None and left_us < LEVELLING_US:",
        "if False:",
    ),
    # The hold that follows levels too, so no rule sees one of the two missing; test_permit.py does.
    Mutant(
        "levelling, level: the arm holds, each joint as far as it was told",
        (
            Edit(f"{CORE}/run/permit.py", "self.level()\n            return True", "return True"),
            Edit(
                f"{CORE}/run/permit.py",
                "self.offer_us = self.floor_us\n        return True",
                "return True",
            ),
        ),
    ),
    Mutant(
        "levelling's latch: the offer rises again with what arrives late",
        (
            Edit(
                f"{CORE}/run/permit.py",
                "if self.fixed:\n            return False",
                "if False:\n            return False",
            ),
            Edit(
                f"{CORE}/run/holding.py",
                "        if self.context.at_end:\n            return PartDone(self._cause)\n",
                "        if self.context.at_end:\n            return PartDone(self._cause)\n"
                "        if self._motion is not None:\n"
                "            self._motion.step(now)\n",
            ),
        ),
    ),
    Mutant(
        "a ramping joint accepts a permit",
        (
            Edit(
                f"{JOINT}/playing.py",
                "from protocol.pathtime import RateChange\n",
                "from protocol.constants import PPM\n"
                "from protocol.pathtime import Course, RateChange\n",
            ),
            Edit(
                f"{JOINT}/playing.py",
                "        elif self._go(plan,",
                "        elif self._body.state is JointState.RAMPING:\n"
                "            path, arm_us = self._path, self._body.arm(now)\n"
                "            here_us, rate = path.course.at(arm_us)\n"
                "            if drive.permit_us is not None and drive.permit_us > here_us:\n"
                "                path.current, path.began_us = plan.change, None\n"
                "                after = plan.change.after_ppm / PPM\n"
                "                path.course = Course(arm_us, here_us, rate, after, path.ramp)\n"
                "                self._body.state = JointState.MOVING\n"
                "                self._comply(plan.number)\n"
                "                self._take_permit(drive.permit_us, now)\n"
                "        elif self._go(plan,",
            ),
        ),
    ),
    _one(
        "busy: a moving joint takes a new session", f"{JOINT}/session.py", "if moving:", "if False:"
    ),
    _one(
        "drift: limits do not widen with age",
        "coordinator/timing/guarantee.py",
        "+ self.drift_ppm * age_us",
        "+ 0 * age_us",
    ),
    Mutant(
        "raw clock: arm time is slewed by the host's NTP",
        (
            Edit(
                "coordinator/rehearsal/laptop.py",
                "return self.host.arm(true_us)",
                "return self.host.arm(true_us) + self.host.slewed(true_us)",
            ),
            Edit(
                "coordinator/rehearsal/laptop.py",
                "return self.host.true(arm_us)",
                "return self.host.true(arm_us - self.host.slewed(self.world.now)) + 1",
            ),
        ),
    ),
    _one(
        "sleep check: the session goes on after the laptop slept",
        "coordinator/rehearsal/laptop.py",
        "if slept_us > SLEEP_LIMIT_US:",
        "if False:",
    ),
    _one(
        "reboot check: a new boot is not noticed",
        f"{CORE}/link/connection.py",
        "rebooted = self.welcome is not None and self.welcome.boot != welcome.boot",
        "rebooted = False",
    ),
    _one(
        "restart: a joint takes itself for homed after it",
        f"{JOINT}/body.py",
        "self.state = JointState.UNHOMED\n        self.homed = False",
        "self.state = JointState.READY\n        self.homed = True",
    ),
    # That a drive is of this session its key says too, and no rule sees the number unread. A check
    # of conform does (what-is-answered/session, tests/coordinator/conform/faults.py).
    _one(
        "sequence check: a joint takes old drives",
        f"{JOINT}/session.py",
        "return session == self.number and sequence > self.sequence",
        "return session == self.number",
    ),
    Mutant(
        "reserve: the ramp leaves the path no acceleration",
        (
            Edit(
                "protocol/ramp.py",
                "left_here = 1.0 - ACCELERATION_SHARE * (ppm / PPM) ** 2",
                "left_here = 1.0",
            ),
            Edit("protocol/ramp.py", "if used > acceleration * (1.0 + 1e-9):", "if False:"),
        ),
    ),
    _one(
        "silence: a joint waits for a coordinator that is gone",
        f"{JOINT}/joint.py",
        'self._sooner(self._driven_us + SILENCE_US, "silence")',
        "pass",
    ),
    _one(
        "buffer: a permit may reach past the points",
        f"{JOINT}/path.py",
        "return min(self.permit_us, self.room_us(fastest))",
        "return self.permit_us",
    ),
    _one(
        "withdrawal: what the drive no longer carries goes on",
        f"{JOINT}/playing.py",
        "if body.state in (JointState.MOVING, JointState.ADVANCING):",
        "if False:",
    ),
    _one(
        "expiry: jog, home and advance go on without renewal",
        f"{JOINT}/joint.py",
        'self._sooner(body.clock.joint(expiry_us), "expiry")',
        "pass",
    ),
    _one(
        "late: a start that is accepted too late begins at once",
        f"{JOINT}/playing.py",
        "if body.arm(now) >= change.at_us:",
        "if False:",
    ),
    _one(
        "home: a joint that let go of its motor is still homed",
        f"{JOINT}/free.py",
        "body.energised = body.homed = False",
        "body.energised = False",
    ),
    _one(
        "lost steps: a joint does not mind where its home sensor switches",
        f"{JOINT}/joint.py",
        "self._safety.fault(Fault.STEPS_LOST, now, wrong)",
        "pass",
    ),
    _one(
        "behind the sensor: a homing cut short is begun as if it had met nothing",
        f"{JOINT}/free.py",
        "self.level, now, self._met)",
        "self.level, now, None)",
    ),
    _one(
        "a new command: a run that is held resumes by itself",
        f"{CORE}/run/held.py",
        "    def hold(self, cause: str, now: int) -> Turn | None:\n        return None\n",
        "    def hold(self, cause: str, now: int) -> Turn | None:\n        return None\n\n"
        "    def step(self, now: int) -> Turn | None:\n"
        "        try:\n            return self.resume(now)\n"
        "        except Exception:\n            return None\n",
    ),
    _one(
        "jog: every joint jogs",
        f"{CORE}/jogging.py",
        "if link in self._held:\n            held = self._held[link]\n",
        "if self._held:\n            held = next(iter(self._held.values()))\n",
    ),
    _one(
        "step: another one counts from where the joint is by its last status",
        f"{CORE}/jogging.py",
        "else steps.end) + by",
        "or link.status is None else link.status.position) + by",
    ),
    _one(
        "step: one that was not carried out whole is not told",
        f"{CORE}/jogging.py",
        "if steps.arrived_us is None and link.status is not None:",
        "if False:",
    ),
    _one(
        "home: a control that is let go goes on homing",
        f"{CORE}/homing.py",
        "if self._is_let_go(link, now):",
        "if False:",
    ),
    _one(
        "home: every joint homes at once",
        f"{CORE}/homing.py",
        "if link is not self.current:\n            return None",
        "if self.current is None:\n            return None",
    ),
    _one(
        "hold: it is accepted, and nothing is done",
        f"{CORE}/machine.py",
        "                self._hold(because, now)\n",
        "                pass\n",
    ),
    _one(
        "stop: it is accepted, and joints are not told",
        f"{CORE}/machine.py",
        "            link.stop(level, now)\n",
        "            pass\n",
    ),
    Mutant(
        "proof: it stands though its clock was found wrong",
        (
            Edit(
                f"{CORE}/run/report.py",
                "entry.earliest_us = entry.latest_us = entry.clock_uncertainty_us = None",
                "pass",
            ),
            Edit(
                f"{CORE}/run/report.py",
                "if not entry.confirmed:\n                entry.earliest_us",
                "if False:\n                entry.earliest_us",
            ),
        ),
    ),
    _one(
        "arm, joint: a start needs no arm before it",
        f"{JOINT}/playing.py",
        "or armed_by is None\n            or armed_by >= plan.number",
        "or (armed_by or 0) >= plan.number",
    ),
    _one(
        "fault: a joint that moves does not mind it",
        f"{JOINT}/safety.py",
        "if not body.at_rest:\n            self._brake(now)\n        elif body.state is not",
        "if not body.at_rest:\n            return\n        elif body.state is not",
    ),
    _one(
        "unhomed: a joint jogs as fast as when it is homed",
        f"{JOINT}/free.py",
        "limits.velocity if body.homed else limits.jog_unhomed",
        "limits.velocity",
    ),
    _one(
        "tag: a datagram's is not checked",
        "protocol/keys.py",
        "if not same(found,",
        "if False and not same(found,",
    ),
    _one(
        "proof: a handshake's is not checked",
        f"{JOINT}/handshake.py",
        "if not same(bytes.fromhex(message.proof), wanted):",
        "if False:",
    ),
    _one(
        "slewing: a new clock map counts at once in motion",
        "protocol/clockmap.py",
        "remainder_us = 0.0 if jump else self.arm(joint_us) - clock_map.to_arm(joint_us)",
        "remainder_us = 0.0",
    ),
    _one(
        "clock map: one that cannot be bled off is sent in motion",
        f"{CORE}/clock_maps.py",
        "if at_rest or not self._maps or abs(shift_us) <= SHIFT_LIMIT_US:",
        "if True:",
    ),
    _one(
        "skew: a start is made that nobody can prove to be together",
        f"{CORE}/skew.py",
        "if apart_us is None or apart_us <= limit_us:",
        "if True:",
    ),
    Mutant(
        "places: a joint is connected anew wherever it is announced",
        (
            Edit(f"{CORE}/link/connection.py", "if is_new and not self.up:", "if is_new:"),
            Edit(f"{CORE}/addresses.py", "        if proved:\n", "        if False:\n"),
        ),
    ),
    _one(
        "keys: what a joint has in force is forgotten after some streams",
        "coordinator/links/peer.py",
        "        if nonce == self._current_nonce:\n            return\n",
        '        self.streams = getattr(self, "streams", 0) + 1\n'
        "        if nonce == self._current_nonce and self.streams < 2:\n            return\n",
    ),
    _one(
        "told: a joint's light keeps the word of rest that it was told",
        "simulator/joint/light.py",
        "        self._told = condition\n",
        "        if self._told is not ConditionWord.AT_REST:\n            self._told = condition\n",
    ),
    _one(
        "told: a joint rests by a status from before it was let move",
        f"{CORE}/link/link.py",
        "self.at_rest and status.sequence > self.orders.let_move_sequence",
        "self.at_rest",
    ),
    Mutant(
        "told: a joint rests that is silent",
        (
            Edit(
                f"{CORE}/condition.py",
                "_moving(arm, now) or _unknown(arm, now) or _coming(arm, now)",
                "_moving(arm, now) or _coming(arm, now)",
            ),
            Edit(
                f"{CORE}/link/link.py",
                "return self.heard(now) and self._said_that_it_rests",
                "return self._said_that_it_rests",
            ),
        ),
    ),
    _one(
        "stop: it is forgotten at a new session",
        f"{CORE}/link/orders.py",
        "        self.let_move_us = None\n\n    # ---- stop",
        "        self.let_move_us = None\n        self.stop_wanted = StopLevel.NONE\n\n"
        "    # ---- stop",
    ),
    _one(
        "stop: a lower one replaces a higher one that is not confirmed",
        f"{CORE}/link/orders.py",
        "self.stop_wanted = max(self.stop_wanted, level)",
        "self.stop_wanted = level",
    ),
    _one(
        "stop: drives ask for drivers beside it",
        f"{CORE}/drives.py",
        "energise=orders.energise and not orders.stop_wanted",
        "energise=orders.energise",
    ),
    _one(
        "override: a withdrawn one leaves the start's speed, not that before it",
        f"{CORE}/run/motion.py",
        "                self._before = self._pending\n",
        "",
    ),
    _one(
        "override: a withdrawn one is told, and comes with the next part",
        f"{CORE}/run/moving.py",
        "        context.rate_ppm = self._motion.wanted_ppm\n",
        "",
    ),
    _one(
        "override: it is lost at the next part",
        f"{CORE}/run/run.py",
        "        context.part += 1\n",
        "        context.part += 1\n        context.rate_ppm = 1_000_000\n",
    ),
    Mutant(
        "override: it is kept into the next run",
        (
            Edit(
                f"{CORE}/machine.py",
                "        self.run = Run(number, play,",
                "        kept = self.run.rate_ppm if self.run is not None else 1_000_000\n"
                "        self.run = Run(number, play,",
            ),
            Edit(
                f"{CORE}/machine.py",
                "        self.reports[number] = self.run.report\n",
                "        self.reports[number] = self.run.report\n"
                "        self.run.context.rate_ppm = kept\n",
            ),
        ),
    ),
    _one(
        "hold: it is not levelled where a joint is lost before it has heard of it",
        f"{CORE}/run/holding.py",
        "            self._motion.keep_level(now)\n",
        "            pass\n",
    ),
    _one(
        "touch: what was done in a gap is obeyed after it",
        f"{CORE}/touch.py",
        " or now - since_us > TOUCH_OLD_US",
        "",
    ),
    _one(
        "touch: what was told is told again",
        f"{CORE}/touch.py",
        "self._seen[link.name] = is_, sent_us",
        "self._seen.setdefault(link.name, (is_, sent_us))",
    ),
    _one(
        "touch: a restart counts as turned back",
        f"{CORE}/touch.py",
        "was.boot != is_.boot or ",
        "",
    ),
    _one(
        "touch: what was done while the laptop slept is obeyed",
        f"{CORE}/machine.py",
        "        self.touch.forget()\n",
        "",
    ),
    _one(
        "touch: a joint that is set not to listen does",
        f"{API}/touch.py",
        "if not joint.touch:",
        "if False:",
    ),
    _one(
        "touch: a press to hold holds nothing",
        f"{API}/touch.py",
        "self._service.command(Hold(), who.name)",
        "pass",
    ),
    _one(
        "touch: a turn goes twice as far",
        f"{API}/touch.py",
        "touched.turn * does.detent_deg",
        "2 * touched.turn * does.detent_deg",
    ),
    _one(
        "touch: what it asks for overtakes the drives that are due",
        "coordinator/rehearsal/laptop.py",
        "touches.append(action)",
        "self.on_touch(action)",
    ),
    _one(
        "wish: an old one is obeyed",
        f"{API}/wishes.py",
        "elif not -AHEAD_US <= waited_us <= oldest_us:",
        "elif False:",
    ),
    _one(
        "wish: one that came before, or was overtaken, is obeyed",
        f"{API}/wishes.py",
        "if wish.number <= self._last:",
        "if False:",
    ),
    _one(
        "control: it is taken over, and what moves goes on",
        f"{API}/control_routes.py",
        "self._service.command(Hold(Because.TAKEN_OVER), who.name, detail=True)",
        "pass",
    ),
    _one(
        "hand: it has gone, and what it jogged goes on",
        f"{API}/hand.py",
        "self._service.command(Hold(Because.GONE), who.name, detail=True)",
        "pass",
    ),
    _one(
        "clear: a homing or a jog begins before what it lifts is known to be lifted",
        f"{CORE}/drives.py",
        "elif orders.clear_wanted:",
        "elif orders.clear_wanted and now < 0:",
    ),
    _one(
        "outputs: what is to go off with a stop is kept",
        f"{JOINT}/free.py",
        "body.switch(off.on_stop, 0, now)",
        "body.switch(0, 0, now)",
    ),
    _one(
        "outputs: what is to go off when nothing is heard is kept",
        f"{JOINT}/joint.py",
        "return off.on_lost & body.outputs if off is not None and body.at_rest else 0",
        "return 0",
    ),
    _one(
        "outputs: what is to go off with a hold is kept",
        f"{JOINT}/playing.py",
        "body.switch(off.on_hold, 0, now)",
        "body.switch(0, 0, now)",
    ),
    _one(
        "outputs: a point that switches them is passed",
        f"{JOINT}/playing.py",
        "self._body.switch(point.output_mask, point.output_values, now)",
        "pass",
    ),
    _one(
        "outputs: what a hand asked for is not taken back by another command",
        f"{CORE}/machine.py",
        "        if not isinstance(command, LEAVES_OUTPUTS):\n            self.tool.forget()\n",
        "",
    ),
    _one(
        "outputs: what a hand asked for is asked for as long as it takes",
        f"{CORE}/outputs.py",
        "if now > one.until_us}",
        "if False}",
    ),
    _one(
        "wait: a run goes on without its input",
        f"{CORE}/run/waiting.py",
        "if known and status is not None and self._awaited.there(status.inputs):",
        "if known and status is not None:",
    ),
    _one(
        "entry: the arm goes to it at full speed",
        "coordinator/motion/entry.py",
        "share = arm.jog_speeds.teaching",
        "share = 1.0",
    ),
    _one(
        "entry: the arm goes on behind the approach without a resume",
        "coordinator/motion/entry.py",
        "        yield Pause(first.line)\n",
        "",
    ),
    _one(
        # Of both who wait for it, the joint and its coordinator, who goes by what it says.
        "current: a joint moves before the full one has settled",
        f"{JOINT}/current.py",
        "return not self.is_reduced and now >= self._settled_us",
        "return not self.is_reduced",
    ),
    _one(
        "current: drives do not ask for the full one",
        f"{CORE}/currents.py",
        "        self.is_asked = wanted\n",
        "",
    ),
    _one(
        "current: one joint moves while another one has less",
        f"{CORE}/currents.py",
        "return not any(self._waits(link, now, counts_silent) for link in self._links)",
        "return True",
    ),
    _one(
        "current: that of a load is reduced",
        f"{CORE}/configure.py",
        "if idle is None or joint.holds_load is not False:",
        "if idle is None:",
    ),
    _one(
        "current: homing after a run does not ask for the full one",
        f"{CORE}/machine.py",
        "will = plays or self._homes_or_jogs",
        "will = plays",
    ),
    _one(
        "loops: one more is told than was played",
        f"{CORE}/run/run.py",
        "self.report.cycles.ends(context.part_now.loop - 1, now)",
        "self.report.cycles.ends(context.part_now.loop, now)",
    ),
    _one(
        "loops: those are counted that the furthest joint has left behind",
        f"{CORE}/run/run.py",
        "told_us = min(map(self._told_us, self.links))",
        "told_us = max(map(self._told_us, self.links))",
    ),
    _one(
        "loops: another one begins though their time is over",
        f"{CORE}/run/waiting.py",
        "now - context.report.began_us >= for_s * US",
        "False",
    ),
    _one(
        "loops: a hold that comes between two is forgotten",
        f"{CORE}/run/discarding.py",
        "        self._then = PartOver(cause)\n",
        "",
    ),
    _one(
        "edges: one that was not seen where it should be is told as passed",
        f"{CORE}/run/edge_watch.py",
        "            if level is not expected:",
        "            level = expected\n            if level is not expected:",
    ),
    _one(
        "edges: a joint that was found astray stays homed",
        f"{CORE}/membership.py",
        "if not (link.doubt and link.up",
        "if True or not (link.doubt and link.up",
    ),
)
