"""Tables and sentences for people."""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Final

from rich import box
from rich.table import Table

from coordinator.cli.condition import headline
from coordinator.cli.production import loop_words, production_remarks
from coordinator.codes.alarm_state import AlarmState
from coordinator.codes.link_word import LinkWord
from coordinator.codes.outcome import Outcome, last_place
from coordinator.codes.refusal import RefusalCode
from coordinator.config.mistake import Mistake
from coordinator.core.stop_words import STOP_WORDS
from coordinator.health.link import LOST
from protocol.drive import StopLevel

if TYPE_CHECKING:
    from coordinator.client.values import (
        ArmSnapshot,
        CheckResult,
        ControlAsked,
        HoldRecord,
        JointSnapshot,
        KeptReport,
        Overtravels,
        Problem,
        RunGoing,
        RunOver,
        RunSnapshot,
        Seam,
        SlowerCorner,
        StartForecast,
        StartReport,
        WarningSnapshot,
    )

NONE: Final = "–"
JOINT_FIGURES: Final = (
    ("angle", "°"),
    ("heat", "°C"),
    ("supply", "V"),
    ("delay", "ms"),
    ("clock", "± µs"),
    ("age", "ms"),
)
"""Columns of the table of joints, each with its unit. The delay is the worst of the link."""


def joints_table(arm: "ArmSnapshot") -> Table:
    """One row a joint, base to tool, within 80 columns. Of an old word only its age is shown."""
    table = Table(
        title=f"{arm.arm}: {headline(arm)}{_place(arm.run)}",
        title_justify="left",
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
    )
    for name in ("joint", "word", "state", "motor"):
        table.add_column(name, vertical="bottom")
    for name, unit in JOINT_FIGURES:
        table.add_column(f"{name}\n{unit}", justify="right")
    for joint in arm.joints:
        name, word, age = joint.name, joint.word, _thousandth(joint.age_us)
        if not _is_fresh(joint):
            table.add_row(name, word, joint.link, *[NONE] * 6, age)
            continue
        table.add_row(
            name,
            word,
            joint.state or NONE,
            _motor(joint),
            _figure(joint.position_deg if joint.homed else None, "{:.2f}"),
            _figure(joint.temperature_c if joint.plausible else None, "{:.1f}"),
            _figure(joint.supply_v, "{:.1f}"),
            _thousandth(joint.worst_delay_us),
            _figure(joint.clock.uncertainty_us, "{:.0f}"),
            age,
        )
    return table


def _place(run: "RunSnapshot | None") -> str:
    if run is None or not run.line:
        return ""
    seconds = "" if run.path_us is None else f", {run.path_us / 1e6:.1f} s"
    return f"; run {run.number} at line {run.line}{loop_words(run)}{seconds}"


def _is_fresh(joint: "JointSnapshot") -> bool:
    """Whether what a joint said last is as good as what is so now."""
    return joint.link in (LinkWord.UP, LinkWord.CONNECTING)


def _motor(joint: "JointSnapshot") -> str:
    if joint.energised is None:
        return NONE
    if joint.supply.lost:
        return "limp"  # whatever current it is set to
    if not joint.energised:
        return "off"
    return "reduced" if joint.reduced else "on"


def joint_remarks(arm: "ArmSnapshot") -> list[str]:
    """A sentence for every joint that is not as it should be, and for every stranger."""
    told = {joint.name: _link(joint) for joint in arm.joints}
    said = {arm.condition.cause, *told.values()}
    unhomed = _unhomed(arm.joints)
    # The warning of a joint that is offline says no more than the joint's own sentence.
    lost = {one.joint: one for one in arm.warnings if one.code == LOST.code}
    remarks = [
        _warning(lost[name], sentence) if name in lost else sentence
        for name, sentence in told.items()
        if sentence and sentence != arm.condition.cause
    ]
    remarks += [
        f"{joint.name}: fault: {' '.join(joint.faults)}"
        for joint in arm.joints
        if _is_fresh(joint) and joint.faults
    ]
    remarks += [
        _warning(one, one.message)
        for one in arm.warnings
        if one.code != LOST.code or not told.get(one.joint)
    ]
    remarks += _alarms(arm)
    if arm.update is not None and not arm.update.phase.is_over:
        remarks.append(f"{arm.update.joint} is being updated: {arm.update.message}")
    remarks += [one for joint in arm.joints if (one := _heat(joint))]
    if unhomed and unhomed not in said:
        remarks.append(f"{unhomed}; home first")
    for level in StopLevel:
        stopped = [joint.name for joint in arm.joints if _is_fresh(joint) and joint.stop == level]
        if level and stopped:
            remarks.append(
                f"{STOP_WORDS[level]} is latched in {' '.join(stopped)}; the next command that "
                "moves them clears the stop"
            )
    warned = {one.joint for one in arm.warnings if one.code == "clock-unlocked"}
    remarks += [
        f"{joint.name}: its clock is not locked: {joint.clock.reason}"
        for joint in arm.joints
        if joint.clock.reason and not joint.clock.locked and joint.link == "up"
        if joint.name not in warned
    ]
    if not _is_told(arm.start_forecast, said, unhomed):
        remarks += forecast_sentences(arm.start_forecast)
    remarks += [
        f"{stranger.instance} at {stranger.host} has the id {stranger.id}, "
        "which is not in the arm file"
        for stranger in arm.unknown
    ]
    return remarks


def tool_lines(arm: "ArmSnapshot") -> list[str]:
    """The outputs and inputs of each joint that has some and is heard."""
    return [
        f"{joint.name}: {_switched(joint)}"
        for joint in arm.joints
        if _is_fresh(joint) and (joint.outputs or joint.inputs)
    ]


def _switched(joint: "JointSnapshot") -> str:
    kinds = (("output", joint.outputs), ("input", joint.inputs))
    return ", ".join(
        f"{kind} {name} {'on' if on else 'off'}"
        for kind, found in kinds
        for name, on in (found or {}).items()
    )


def _heat(joint: "JointSnapshot") -> str:
    """How soon a joint may be at its limit at its present load; empty if that is not in sight."""
    left = joint.heat.limit if joint.heat is not None and _is_fresh(joint) else None
    if left is None or left.soonest_s is None:
        return ""
    soonest = f"at the soonest in {left.soonest_s // 60:.0f} min"
    if left.likely_s is None:
        return f"{joint.name}: may reach its limit of {joint.limit_c:g} °C at this load, {soonest}"
    return (
        f"{joint.name}: at this load it is at its limit of {joint.limit_c:g} °C in about "
        f"{left.likely_s // 60:.0f} min, {soonest}; there the arm stops{_rest(joint)}"
    )


def _rest(joint: "JointSnapshot") -> str:
    """What keeps it below its limit, a clause; empty where that is not known."""
    share = joint.heat.rest_share if joint.heat is not None else None
    if not share:
        return ""
    return f"; resting {share:.0%} of the time, in turns of a few minutes, keeps it below"


def _alarms(arm: "ArmSnapshot") -> list[str]:
    """What there is of alarms beside those that stand: none of it must go unseen."""
    alarms, told = arm.alarms, []
    if alarms is None:
        return []
    if alarms.flood is not None:
        told.append(f"a flood of alarms: {alarms.flood.count} began within ten minutes")
    if alarms.shelved:
        names = ", ".join(f"{one.code} of {one.joint}" for one in alarms.shelved)
        told.append(f"shelved, without a sign: {names}")
    if alarms.returned:
        names = ", ".join(f"{one.code} of {one.joint}" for one in alarms.returned)
        told.append(f"over, and acknowledged by nobody: {names}")
    return told


def _warning(one: "WarningSnapshot", sentence: str) -> str:
    said = "" if one.state is AlarmState.UNACKNOWLEDGED else f" ({one.state})"
    return f"{one.level}: {sentence}{said}"


def _unhomed(joints: "Sequence[JointSnapshot]") -> str:
    """Which joints are not homed, of those that are heard; empty if all are."""
    names = [one.name for one in joints if _is_fresh(one) and one.homed is False]
    if not names:
        return ""
    if len(names) == 1:
        return f"{names[0]} is not homed"
    return f"{', '.join(names[:-1])} and {names[-1]} are not homed"


def _is_told(start: "StartForecast | None", said: set[str], unhomed: str) -> bool:
    """Whether what keeps the arm from a start stands among the sentences before."""
    obstacle = start.obstacle if start else None
    if obstacle is None:
        return False
    return obstacle.message in said or bool(unhomed and obstacle.code == RefusalCode.NOT_HOMED)


def _link(joint: "JointSnapshot") -> str:
    """What there is to say of a joint's link, empty if nothing."""
    if joint.link in (LinkWord.OFFLINE, LinkWord.CONNECTING):
        return f"{joint.name} is {joint.link}: {joint.link_message}"
    return f"{joint.name}: {joint.link_message}" if joint.link_message else ""


def forecast_sentences(start: "StartForecast | None") -> list[str]:
    """What a start would be now, as far as it is known; none where something goes on."""
    if start is None:
        return []
    if start.obstacle is not None:
        return [f"no start now: {start.obstacle.message}"]
    if start.start_delay_us is None:
        return ["a start now: links and clocks are still being measured"]
    ahead, within = ms(start.start_delay_us), us(start.within_us)
    figures = f"set {ahead} ahead, all within {within} of each other"
    return [f"a start now: {figures}; slowest link: {start.slowest}"]


def report_table(report: "KeptReport") -> Table:
    """One row a joint: the proof of the start, and the end."""
    table = Table(title=report_title(report), title_justify="left")
    table.add_column("joint")
    # Each joint reaches a last point at every pause too.
    end = "finished at" if report.outcome == Outcome.FINISHED else "last point at"
    for name in ("start margin", "clock uncertainty", "started at", end, "buffer margin"):
        table.add_column(name, justify="right")
    begin = report.start.at_us if report.start else None
    for joint in report.joints:
        table.add_row(
            joint.name,
            ms(joint.start_margin_us),
            us(joint.clock_uncertainty_us),
            _since(joint.started_at_us, begin),
            _since(joint.finished_at_us, begin),
            ms(joint.buffer_margin_us),
        )
    return table


def report_title(report: "KeptReport") -> str:
    """The run, its outcome and why."""
    why = f": {report.message}" if report.message else ""
    return f"run {report.run}, {report.name}, {report.outcome}{why}"


_ENDED_EARLY: Final = ("stopped", "faulted", "lost")
"""Outcomes of runs that were over before their program was."""


def report_remarks(report: "KeptReport") -> list[str]:
    """Sentences about when it was, and what happened in it in order of time."""
    # What is in force from a start on was asked for before it.
    happened = [
        (override.at_us, f"override: {override.percent:g} %") for override in report.overrides
    ]
    from coordinator.core.run.report import start_numbers  # which the report has brought along

    parts, resumes = {start.part for start in report.starts}, 0
    numbers = start_numbers(len(report.starts), report.starts_left_out)
    for k, (number, start) in enumerate(zip(numbers, report.starts, strict=True), 1):
        if start.path_us > 0:
            resumes += 1
            # How many of those left out were resumes is not known.
            which = f"resume {resumes}" if number == k else f"start {number}, a resume"
        else:
            which = f"start of part {start.part}" if len(parts) > 1 else "start"
        tries = f"{start.attempts} attempt{'s' if start.attempts > 1 else ''}"
        sentence = f"{which}: {tries}, start delay {ms(start.start_delay_us)}, {_skew(start)}"
        happened.append((start.at_us, sentence))
    happened += [(hold.at_us, f"hold: {hold.cause}; {_apart(hold)}") for hold in report.holds]
    switches = {
        "block delete": report.block_delete,
        "optional stop": report.optional_stop,
        "step by line": report.step_by_line,
    }
    switched = [name for name, is_on in switches.items() if is_on]
    remarks = _when(report)
    loop = None if report.loops == 1 else report.production.done + 1
    part = report.starts[-1].part if report.starts else None
    if where := last_place(report.outcome, report.line, loop, report.loops, part):
        remarks.append(where)
        if report.outcome in _ENDED_EARLY:
            remarks.append(
                f"'unisono go --back --run {report.run}' turns the joints, homed, slowly to where "
                "it would go on"
            )
    if switched:
        remarks.append(f"switched on: {' and '.join(switched)}")
    if report.from_line is not None:
        remarks.append(f"played from line {report.from_line} on")
    for at_us, sentence in sorted(happened, key=lambda one: one[0]):
        remarks.append(f"{(at_us - report.began_at_us) / 1e6:.1f} s: {sentence}")
    left_out = {
        "starts": report.starts_left_out,
        "holds": report.holds_left_out,
        "overrides": report.overrides_left_out,
    }
    remarks += [f"{what} that are not told here: {n}" for what, n in left_out.items() if n]
    remarks += production_remarks(report)
    if report.partial_starts:
        remarks.append(f"partial starts: {report.partial_starts}")
    if report.stop_level:
        remarks.append(f"stop level: {report.stop_level}")
    if report.stop_unconfirmed:
        remarks.append(f"stop not confirmed by: {', '.join(report.stop_unconfirmed)}")
    remarks += [
        f"not in the database: {one.what}, since {one.utc}: {one.why}" for one in report.unwritten
    ]
    return remarks


def _when(report: "KeptReport") -> list[str]:
    """When the run began, by the clock of this place, and how long it took, as far as is known."""
    if not report.began_utc:
        return []
    began = datetime.fromisoformat(report.began_utc).astimezone()
    took = ""
    if report.ended_at_us is not None:
        took = f", took {(report.ended_at_us - report.began_at_us) / 1e6:.1f} s"
    return [f"began {began:%Y-%m-%d %H:%M:%S %z}{took}"]


def _apart(hold: "HoldRecord") -> str:
    """How far apart on the path the joints came to rest, and of which that is not known."""
    unknown = [name for name, path_us in hold.path_us.items() if path_us is None]
    if not unknown:
        return f"joints {us(hold.apart_us)} of path time apart"
    sentence = f"path time of {', '.join(unknown)} not known"
    if len(hold.path_us) - len(unknown) > 1:
        sentence += f", the other joints {us(hold.apart_us)} apart"
    return sentence


def way_on(state: "RunGoing | RunOver", control: "ControlAsked") -> str:
    """What can be done with a run that is held or paused, by who may have to take control first."""
    from coordinator.client.values import RunOver

    if isinstance(state, RunOver):
        return "the run is over"
    obstacle = state.obstacle
    if obstacle is None:
        behind = {name: us for name, us in (state.behind_us or {}).items() if us}
        first = ""
        if behind:
            each = ", ".join(f"{name} by {us / 1e3:.0f} ms" for name, us in behind.items())
            first = f"first brings up slowly what is behind ({each}), then "
        take = ""
        if control.holder not in (None, control.you):
            take = f"{control.name} has control: after 'unisono control take' "
        return f"{take}'unisono resume' {first}goes on, 'unisono stop' ends the run"
    if obstacle.code == "ending":
        if obstacle.message in state.message:
            return "the run ends with it"
        return f"{obstacle.message}, and the run with it"
    return f"it cannot be resumed as it is: {obstacle.message}; 'unisono stop' ends the run"


TOLD_CORNERS = 20
"""All of them are in JSON."""


def check_sentences(name: str, result: "CheckResult") -> list[str]:
    """What a program that is right would do."""
    count = len(result.moves) + result.more.get("moves", 0)
    moves = f"{count} move{'s' if count != 1 else ''}"
    begins = "where the arm stands" if result.begins == "here" else "the pose park"
    sentences = [f"{name}: no mistakes; {moves}, {result.duration_s:.1f} s from {begins}"]
    if result.pauses:
        times = {1: "once", 2: "twice"}.get(result.pauses, f"{result.pauses} times")
        sentences.append(
            f"{name}: it pauses {times} until somebody resumes; that is not in the time"
        )
    if result.moves and result.moves[0].approach:
        first = result.moves[0]
        angles = " ".join(f"{letter}{angle:.2f}°" for letter, angle in first.target.items())
        sentences.append(
            f"first the arm goes slowly to where line {first.line} begins, {angles}, and waits for "
            "'unisono resume' there"
        )
    sentences += [
        f"{name}:{slow.line}: slower than asked, {slow.duration_s:.2f} s instead of "
        f"{slow.asked_s:.2f} s: {slow.joint} would need {slow.asked_deg_s:.1f} °/s, its "
        f"limit is {slow.velocity_deg_s:g} °/s"
        for slow in result.slower
    ]
    if result.overtravel is not None:
        sentences += _overtravel_sentences(name, result.overtravel)
    sentences += [_corner_sentence(name, one) for one in result.corners[:TOLD_CORNERS]]
    if more := len(result.corners[TOLD_CORNERS:]) + result.more.get("corners", 0):
        sentences.append(f"{name}: and {more} more corners are passed slower than asked")
    if result.seam is not None:
        sentences.append(_seam_sentence(name, result.seam))
    return sentences + [remark.sentence for remark in mistakes(name, result.remarks)]


def edges_sentence(name: str, each_s: float | None, loops: int | None = None) -> str:
    """How long checks of home edges take; all of them together where the loops are counted."""
    if each_s is None:
        return (
            f"{name}: how long a check of home edges between two loops takes is not known; where "
            "it has mistakes, or a joint was not homed yet or cannot pass its home sensor, it will "
            "not be played"
        )
    times = 0 if loops is None else loops - 1
    in_all = f", {times * each_s:.1f} s in all" if times > 1 else ""
    return f"{name}: to check home edges between two loops takes {each_s:.1f} s each time{in_all}"


def _overtravel_sentences(name: str, told: "Overtravels") -> Iterator[str]:
    if told.stops:
        stops = "one stop" if told.stops == 1 else f"{told.stops} stops"
        yield (
            f"{name}: overtravel at {stops} by {', '.join(told.joints)}: "
            f"{told.duration_s:.1f} s of that time"
        )
    if told.passed:
        ends = "one end that is" if told.passed == 1 else f"{told.passed} ends that are"
        yield f"{name}: no overtravel at {ends} passed: reversal error stays there"


def _seam_sentence(name: str, one: "Seam") -> str:
    if one.obstacle:
        return f"{name}: played again from where it ends it cannot be: {one.obstacle}"
    turns = ", ".join(f"{joint} by {angle:.2f}°" for joint, angle in one.turns_deg.items())
    return (
        f"{name}:{one.line}: another loop begins here from where it ends: {turns}, "
        f"{one.duration_s:.1f} s"
    )


def _corner_sentence(name: str, one: "SlowerCorner") -> str:
    passed = f"passed at {one.passed_deg_s:.1f} °/s" if one.passed_deg_s else "a stop"
    return (
        f"{name}:{one.line}: its end is {passed}, asked were {one.asked_deg_s:.1f} °/s; {one.why}"
    )


def mistakes(name: str, errors: "Iterable[Problem]") -> list[Mistake]:
    """Mistakes in a program, or remarks on it, with the name of its file."""
    return [Mistake(one.message, name, one.line, one.column) for one in errors]


def us(value: float | None) -> str:
    """A time in µs, or in ms from 10 ms on."""
    if value is None:
        return NONE
    return f"{value:.0f} µs" if abs(value) < 10_000 else ms(value)


def ms(value: float | None) -> str:
    """A time in ms."""
    return NONE if value is None else f"{value / 1000:.1f} ms"


def _since(value: float | None, begin: float | None) -> str:
    if value is None or begin is None:
        return NONE
    return us(value - begin) if abs(value - begin) < 10_000 else f"{(value - begin) / 1e6:.6f} s"


def _thousandth(value: float | None) -> str:
    return NONE if value is None else f"{value / 1000:.0f}"


def _figure(value: float | None, form: str) -> str:
    return NONE if value is None else form.format(value)


def _skew(start: "StartReport") -> str:
    """How far apart joints began: what is proved, and an estimate where it is worth anything."""
    if start.start_skew_max_us is None:
        return "start skew not guaranteed"
    proved = f"guaranteed at most {us(start.start_skew_max_us)}"
    known = start.start_skew_us is not None
    return f"start skew {us(start.start_skew_us)}, {proved}" if known else f"start skew {proved}"
