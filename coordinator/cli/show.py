"""Tables and sentences for people."""

from datetime import datetime
from typing import Any, Final

from rich import box
from rich.table import Table

from coordinator.cli.watch import is_silent
from coordinator.stop_words import STOP_WORDS
from protocol.drive import StopLevel

NONE: Final = "–"


def joints_table(arm: dict[str, Any]) -> Table:
    """One row a joint, base to tool, within 80 columns. Of an old word only its age is shown."""
    table = Table(
        title=f"{arm['arm']}: {arm['phase']}{_place(arm.get('run'))}",
        title_justify="left",
        box=box.SIMPLE_HEAD,
        padding=(0, 1, 0, 0),
        pad_edge=False,
    )
    for name in ("joint", "", "state", "motor"):
        table.add_column(name)
    for name in ("angle °", "°C", "V", "Q ms", "clock µs", "age ms"):
        table.add_column(name, justify="right")
    for joint in arm["joints"]:
        name, word, age = joint["name"], joint["word"], _thousandth(joint["age_us"])
        if not _is_fresh(joint):
            link = joint["link"]
            state = "silent" if link == "up" and is_silent(joint) else link
            table.add_row(name, word, state, *[NONE] * 6, age)
            continue
        table.add_row(
            name,
            word,
            joint["state"] or NONE,
            _motor(joint),
            _figure(joint["position_deg"] if joint["homed"] else None, "{:.2f}"),
            _figure(joint["temperature_c"] if joint["plausible"] else None, "{:.1f}"),
            _figure(joint["supply_v"], "{:.1f}"),
            _thousandth(joint["q_us"]),
            _figure(joint["clock"]["bound_us"], "{:.0f}"),
            age,
        )
    return table


def _place(run: dict[str, Any] | None) -> str:
    if run is None or not run["line"]:
        return ""
    return f", run {run['number']} at line {run['line']}, {run['path_us'] / 1e6:.1f} s"


def _is_fresh(joint: dict[str, Any]) -> bool:
    """Whether what a joint said last is as good as what is so now."""
    is_heard = joint["age_us"] is not None and not is_silent(joint)
    return is_heard and bool(joint["link"] == "up")


def _motor(joint: dict[str, Any]) -> str:
    if joint["energised"] is None:
        return NONE
    return "on" if joint["energised"] else "off"


def joint_remarks(arm: dict[str, Any]) -> list[str]:
    """A sentence for every joint that is not as it should be, and for every stranger."""
    remarks = [
        f"{joint['name']}: {joint['link_message']}"
        for joint in arm["joints"]
        if joint["link_message"]
    ]
    remarks += [
        f"{joint['name']}: fault: {' '.join(joint['faults'])}"
        for joint in arm["joints"]
        if _is_fresh(joint) and joint["faults"]
    ]
    remarks += [
        f"{one['level']}: {one['message']}{' (seen)' if one['acknowledged'] else ''}"
        for one in arm["warnings"]
    ]
    for level in StopLevel:
        stopped = [
            joint["name"] for joint in arm["joints"] if _is_fresh(joint) and joint["stop"] == level
        ]
        if level and stopped:
            remarks.append(
                f"{STOP_WORDS[level]} is latched in {' '.join(stopped)}; the next command that "
                "moves them lifts it"
            )
    warned = {one["joint"] for one in arm["warnings"] if one["code"] == "clock-unlocked"}
    remarks += [
        f"{joint['name']}: its clock is not locked: {joint['clock']['reason']}"
        for joint in arm["joints"]
        if joint["clock"]["reason"] and not joint["clock"]["locked"] and joint["link"] == "up"
        if joint["name"] not in warned
    ]
    remarks += next_start_sentences(arm.get("next_start"))
    remarks += [
        f"{stranger['instance']} at {stranger['host']} has the id {stranger['id']}, "
        "which is not in the arm file"
        for stranger in arm["unknown"]
    ]
    return remarks


def next_start_sentences(start: dict[str, Any] | None) -> list[str]:
    """What a start would be now, as far as it is known; none where something goes on."""
    if start is None:
        return []
    if start["obstacle"] is not None:
        return [f"no start now: {start['obstacle']['message']}"]
    if start["lead_us"] is None:
        return ["a start now: links and clocks are still being measured"]
    ahead, within = ms(start["lead_us"]), us(start["within_us"])
    figures = f"set {ahead} ahead, all within {within} of each other"
    return [f"a start now: {figures}; slowest link: {start['slowest']}"]


def report_table(report: dict[str, Any]) -> Table:
    """One row a joint: the proof of the start, and the end."""
    table = Table(title=report_title(report), title_justify="left")
    table.add_column("joint")
    for name in ("slack", "clock bound", "started at", "finished at", "feed slack"):
        table.add_column(name, justify="right")
    begin = report["start"]["at_us"] if report["start"] else None
    for joint in report["joints"]:
        table.add_row(
            joint["name"],
            ms(joint["slack_us"]),
            us(joint["clock_bound_us"]),
            _since(joint["started_at_us"], begin),
            _since(joint["finished_at_us"], begin),
            ms(joint.get("feed_slack_us")),
        )
    return table


def report_title(report: dict[str, Any]) -> str:
    """The run, its outcome and why."""
    why = f": {report['message']}" if report["message"] else ""
    return f"run {report['run']}, {report['name']}, {report['outcome']}{why}"


def report_remarks(report: dict[str, Any]) -> list[str]:
    """Sentences about when it was, and what happened in it in order of time."""
    happened: list[tuple[int, str]] = []
    parts, resumes = {start["part"] for start in report["starts"]}, 0
    for start in report["starts"]:
        if start["path_us"] > 0:
            resumes += 1
            which = f"resume {resumes}"
        else:
            which = f"start of part {start['part']}" if len(parts) > 1 else "start"
        tries = f"{start['attempts']} attempt{'s' if start['attempts'] > 1 else ''}"
        sentence = (
            f"{which}: {tries}, lead {ms(start['lead_us'])}, spread {us(start['spread_us'])}, "
            f"proved to be at most {us(start['bound_us'])}"
        )
        happened.append((start["at_us"], sentence))
    happened += [
        (hold["at_us"], f"hold: {hold['cause']}; {_apart(hold)}") for hold in report["holds"]
    ]
    happened += [
        (override["at_us"], f"override: {override['percent']:g} %")
        for override in report.get("overrides", ())
    ]
    remarks = _when(report)
    remarks += [sentence for _, sentence in sorted(happened, key=lambda one: one[0])]
    if report["partial_starts"]:
        remarks.append(f"partial starts: {report['partial_starts']}")
    if report.get("stop_level"):
        remarks.append(f"stop level: {report['stop_level']}")
    if report.get("stop_unconfirmed"):
        remarks.append(f"stop not confirmed by: {', '.join(report['stop_unconfirmed'])}")
    remarks += [
        f"not in the database: {one['what']}, since {one['utc']}: {one['why']}"
        for one in report.get("unwritten", ())
    ]
    return remarks


def _when(report: dict[str, Any]) -> list[str]:
    """When the run began, by the clock of this place, and how long it took, as far as is known."""
    if not report.get("began_utc"):
        return []
    began = datetime.fromisoformat(report["began_utc"]).astimezone()
    took = ""
    if report["ended_at_us"] is not None:
        took = f", took {(report['ended_at_us'] - report['began_at_us']) / 1e6:.1f} s"
    return [f"began {began:%Y-%m-%d %H:%M:%S %z}{took}"]


def _apart(hold: dict[str, Any]) -> str:
    """How far apart on the path the joints came to rest, and of which that is not known."""
    unknown = [name for name, path_us in hold["path_us"].items() if path_us is None]
    if not unknown:
        return f"joints {us(hold['apart_us'])} of path time apart"
    sentence = f"path time of {', '.join(unknown)} not known"
    if len(hold["path_us"]) - len(unknown) > 1:
        sentence += f", the other joints {us(hold['apart_us'])} apart"
    return sentence


def way_on(state: dict[str, Any]) -> str:
    """What can be done with a run that is held or paused."""
    obstacle = state["obstacle"]
    if obstacle is None:
        behind = {name: us for name, us in (state.get("behind_us") or {}).items() if us}
        first = ""
        if behind:
            each = ", ".join(f"{name} by {us / 1e3:.0f} ms" for name, us in behind.items())
            first = f"first brings up slowly what is behind ({each}), then "
        return f"'unisono resume' {first}goes on, 'unisono stop' ends the run"
    if obstacle["code"] == "ending":
        return "the coordinator is ending, and the run with it"
    return f"it cannot be resumed as it is: {obstacle['message']}; 'unisono stop' ends the run"


def check_sentences(name: str, result: dict[str, Any]) -> list[str]:
    """What a program that is right would do."""
    count = len(result["moves"])
    moves = f"{count} move{'s' if count != 1 else ''}"
    begins = "where the arm stands" if result["begins"] == "here" else "the pose park"
    sentences = [f"{name}: no mistakes; {moves}, {result['duration_s']:.1f} s from {begins}"]
    sentences += [
        f"{name}:{slow['line']}: slower than asked, {slow['duration_s']:.2f} s instead of "
        f"{slow['asked_s']:.2f} s: {slow['joint']} would need {slow['asked_deg_s']:.1f} °/s, its "
        f"limit is {slow['velocity_deg_s']:g} °/s"
        for slow in result["slower"]
    ]
    return sentences + mistakes(name, result["remarks"])


def mistakes(name: str, errors: list[dict[str, Any]]) -> list[str]:
    """`file:line:column: sentence` for each mistake or remark on a program."""
    return [f"{name}:{found['line']}:{found['column']}: {found['message']}" for found in errors]


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
