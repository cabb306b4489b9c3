"""The arm's state as plain values, for people and programs outside."""

import math
from typing import Any

from coordinator.core.homing import HomingState
from coordinator.core.link import JointLink
from coordinator.core.machine import Coordinator
from coordinator.core.next_start import next_start
from coordinator.core.run import Phase, Run
from coordinator.health.temperature import WARM
from protocol.constants import PPM
from protocol.drive import StopLevel


def snapshot(core: Coordinator, now: int) -> dict[str, Any]:
    """Everything at arm time `now`. What is unknown is None, never zero."""
    doing = phase(core)
    run = core.run if core.run is not None and core.run.phase is not Phase.ENDED else None
    return {
        "arm": core.arm.name,
        "session": f"{core.session:016x}",
        "now_us": now,
        "phase": doing,
        "run": _run(run, now) if run else None,
        "homing": core.homing.to_json() if core.homing else None,
        "next_start": next_start(core, now) if doing == "idle" else None,
        "joints": [_joint(core, link, now) for link in core.links],
        "warnings": [warning.to_json() for warning in core.watch.warnings.standing],
        "unknown": [
            {"instance": name, "id": found.announcement.id, "host": found.host}
            for name, found in core.members.unknown.items()
        ],
        "notes": [
            {
                "at_us": note.at_us,
                "level": note.level,
                "code": note.code,
                "message": note.message,
                "joint": note.joint,
            }
            for note in core.outbox.notes
        ],
    }


def phase(core: Coordinator) -> str:
    """What the arm is about, in a word: a run's phase, homing, jogging or idle."""
    if core.run is not None and core.run.phase is not Phase.ENDED:
        return core.run.phase.value
    if core.homing is not None and core.homing.state is HomingState.RUNNING:
        return "homing"
    return "jogging" if core.jogging is not None else "idle"


def _run(run: Run, now: int) -> dict[str, Any]:
    path_us = _path_us(run, now)
    line = run.feed.line_at(path_us) if path_us is not None else None
    if run.phase is Phase.PAUSED:
        line = run.play.parts[run.part].pause_line
    return {
        "number": run.number,
        "name": run.play.name,
        "phase": run.phase.value,
        "part": run.part + 1,
        "parts": len(run.play.parts),
        "line": line,
        "path_us": path_us,
        "end_us": run.feed.end_us,
        "rate_percent": run.rate_ppm / 10_000,
        "attempts": run.report.starts[-1].attempts if run.report.starts else 0,
        "message": run.report.message,
        "lines": run.lines,
        "left_us": _left_us(run, path_us),
        "start": _start(run, now),
        "behind_us": _behind_us(run, now),
    }


def _left_us(run: Run, path_us: int | None) -> int | None:
    """Time to the end of this part at the present feed override."""
    if path_us is None or run.feed.end_us is None:
        return None
    return round(max(0, run.feed.end_us - path_us) * PPM / run.rate_ppm)


def _behind_us(run: Run, now: int) -> dict[str, int] | None:
    """By how much path time each joint that is heard is behind the furthest; None if none rests.

    A resume first brings up, slowly, whoever is behind.
    """
    if run.phase is not Phase.HELD:
        return None
    heard = [(link.name, link.status) for link in run.links if link.heard(now)]
    places = {name: status.path_us for name, status in heard if status is not None}
    furthest_us = max(places.values(), default=0)
    return {name: furthest_us - path_us for name, path_us in places.items()}


def _start(run: Run, now: int) -> dict[str, Any] | None:
    """The start that is set, else the newest that all confirmed. A withdrawn one is none."""
    start = run.start
    if start is not None and start.course is not None:
        record = start.record
    else:
        record = run.report.starts[-1] if run.report.starts else None
    if record is None:
        return None
    return {
        "at_us": record.at_us,
        "path_us": record.path_us,
        "set": record.at_us > now,
        "attempts": record.attempts,
        "lead_us": record.lead_us,
        "spread_us": record.spread_us,
        "bound_us": record.bound_us,
        "slack_us": {name: joint.slack_us for name, joint in record.joints.items()},
    }


def _path_us(run: Run, now: int) -> int | None:
    """Where the run is on its path; from a hold on, the least far of the joints that are heard."""
    if run.phase is Phase.PAUSED:
        return run.feed.end_us or 0
    if run.phase in (Phase.HOLDING, Phase.HELD):  # no law holds while the joints ramp to rest
        known = [link.status for link in run.links if link.status is not None and link.heard(now)]
        return min((one.path_us for one in known if one.trajectory), default=None)
    return round(run.course.at(now)[0]) if run.course is not None else None


def _joint(core: Coordinator, link: JointLink, now: int) -> dict[str, Any]:
    status, joint = link.status, link.joint
    bound = link.clock_bound_us(now)
    values: dict[str, Any] = {
        "name": joint.name,
        "id": joint.id,
        "word": joint.word,
        "link": link.state.value,
        "link_message": link.message,
        "firmware": link.welcome.firmware if link.welcome else None,
        "boot": f"{link.welcome.boot:08x}" if link.welcome else None,
        "age_us": now - link.heard_us if link.heard_us is not None else None,
        "heard_at_us": link.heard_us,
        "range_deg": list(joint.range_deg) if joint.range_deg is not None else None,
        "warning_c": joint.temperature_warning_c,
        "limit_c": joint.temperature_limit_c,
        "velocity_limit_deg_s": joint.velocity_deg_s,
        "acceleration_limit_deg_s2": joint.acceleration_deg_s2,
        "clock": {
            "locked": link.clock.locked,
            "reason": link.clock.reason,
            "bound_us": math.ceil(bound) if bound is not None else None,
            "rate_ppm": link.clock.rate * 1e6 if link.clock.rate_measured else None,
        },
        "stop_wanted": link.stop_wanted.value,
        "measured": link.quality.measured,
        "q_us": round(link.quality.q_us) if link.quality.measured else None,
        "loss": link.quality.loss if link.quality.count else None,
        "rtt_p50_us": link.quality.rtt_p50_us,
        "rtt_p99_us": link.quality.rtt_p99_us,
        "counters": _counters(link),
    }
    loaded = status if status is not None and status.trajectory else None
    temperature = status.temperature_centi_c if status else None
    supply = status.supply_mv if status else None
    values |= {
        "state": status.state.word if status else None,
        "homed": status.homed if status else None,
        "energised": status.energised if status else None,
        "position_deg": joint.to_degrees(status.position) if status and status.homed else None,
        "velocity_deg_s": joint.to_degrees(status.velocity) if status else None,
        "temperature_c": temperature / 100 if temperature is not None else None,
        "plausible": _plausible(link),
        "warm": core.watch.warnings.stands(link.name, WARM) if temperature is not None else None,
        "supply_v": supply / 1000 if supply is not None else None,
        "fan_percent": status.fan_percent if status else None,
        "rssi_dbm": (status.rssi_dbm or None) if status else None,
        "lease_us": loaded.lease_us if loaded else None,
        "path_us": loaded.path_us if loaded else None,
        "buffered_us": loaded.buffered_us if loaded else None,
        "stop": StopLevel(status.stop).value if status else None,
        "faults": status.faults.words if status else None,
    }
    return values


def _counters(link: JointLink) -> dict[str, int | None]:
    """Exchanges are the last of this session, streams and boots since the coordinator began."""
    status, quality = link.status, link.quality
    return {
        "exchanges": quality.count,
        "lost": round(quality.loss * quality.count),
        "streams": link.streams,
        "boots_seen": link.boots_seen,
        "touch_presses": status.touch_presses if status else None,
        "touch_turn": status.touch_turn if status else None,
    }


def _plausible(link: JointLink) -> bool | None:
    """Whether the temperature can be believed, None where there is none to believe."""
    if link.health.sensor.trouble:
        return False
    has_reading = link.status is not None and link.status.temperature_centi_c is not None
    return True if has_reading else None
