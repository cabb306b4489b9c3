"""What a feed could say, made up: for looks and failures that are hard to bring about."""

import math
from collections.abc import Callable
from typing import Any, Final

from starlette.responses import JSONResponse, Response

from coordinator.api.responses.base import plain
from coordinator.api.responses.joint_history import WEAR
from coordinator.api.responses.survey import SURVEY

NAMES = ("turntable", "shoulder", "elbow", "forearm", "wrist", "tool")
NOW_US = 3_600_000_000

HEAT = {
    "why_not": "",
    "ambient_c": {"value": 27.4, "low": 26.8, "high": 28.0},
    "rise_c": {"value": 19.2, "low": 17.9, "high": 20.5},
    "run_rise_c": {"value": 31.0, "low": 28.9, "high": 33.1},
    "steady_c": {"value": 46.6, "low": 45.1, "high": 48.1},
    "time_constant_s": {"value": 1320.0, "low": 1190.0, "high": 1480.0},
    "ten_minutes_c": {"value": 43.4, "low": 42.7, "high": 44.1},
    "warning": {"likely_s": 1500.0, "soonest_s": 1260.0, "latest_s": None},
    "limit": {"likely_s": None, "soonest_s": None, "latest_s": None},
    "rest_share": 0.25, "fan_on_c": 45.0, "fan_off_c": None,
    "fan_factor": {"value": 2.9, "low": 2.6, "high": 3.2},
}  # fmt: skip


def joint(index: int, **values: Any) -> dict[str, Any]:
    """A joint that moves, as the feed tells it."""
    name = NAMES[index] if index < len(NAMES) else f"joint{index + 1}"
    return {
        "name": name, "id": f"3c71bf4a{index:04x}", "word": "ABCDEUVWHIJKLQRXYZ"[index % 18],
        "link": "up", "link_message": "", "configuration_message": "",
        "firmware": "0.1.0", "boot": "0000002a", "image": None, "on_trial": False,
        "board": "bench-joint", "image_capacity_bytes": 1_900_544,
        "heard_at_us": NOW_US - 40_000, "measured": True, "worst_delay_us": 21_000, "loss": 0.01,
        "rtt_p50_us": 3_100, "rtt_p99_us": 9_400, "stop_wanted": 0, "stop": 0,
        "clock": {"locked": True, "reason": "", "uncertainty_us": 620, "rate_ppm": -12.3},
        "state": "moving", "homed": True, "wandered_deg": None, "energised": True, "reduced": False,
        "full_current_because": "",
        "position_deg": round(31.42 - 17.5 * index, 2), "velocity_deg_s": 4.0,
        "temperature_c": 36.0 + index, "plausible": True, "temperature_sensor": "sound",
        "heat": HEAT, "warm": False, "supply_v": 23.8,
        "supply": {
            "lost": False, "expected_v": 23.1, "expected_message": "", "hop_ohm": 0.061,
            "hop_uncertainty_ohm": 0.008, "hop_message": "",
        },
        "fan_percent": 30, "rssi_dbm": -52, "faults": [],
        "counters": {
            "exchanges": 200, "lost": 2, "streams": 3, "boots_seen": 1, "touch_presses": 4,
            "touch_long_presses": 1,
            "touch_turn": -6,
        },
        "permit_us": 10_600_000, "path_us": 10_000_000, "buffered_us": 12_600_000,
        "range_deg": None if name == "tool" else [-170.0, 170.0], "warning_c": 50.0,
        "microstep_deg": 0.00225, "limit_c": 58.0, "velocity_limit_deg_s": 60.0,
        "acceleration_limit_deg_s2": 120.0,
        "jog_speeds_deg_s": {"fine": 1.2, "normal": 9.0, "fast": 30.0, "teaching": 6.0},
        **values,
    }  # fmt: skip


def condition(word: str = "moving", cause: str = "", **values: Any) -> dict[str, Any]:
    """What the arm is about."""
    rest: dict[str, Any] = {"joint": None, "at_us": None, "unconfirmed": [], "rests_by_us": None}
    return {"word": word, "cause": cause, **rest, **values}


def run(**values: Any) -> dict[str, Any]:
    """A run that plays."""
    return {
        "number": 3, "name": "prick_out_tray.nc", "phase": "moving", "part": 1, "parts": 1,
        "line": 42, "lines": 118, "path_us": 10_000_000, "end_us": 72_000_000,
        "rate_percent": 100.0, "attempts": 1, "message": "", "left_us": 62_000_000,
        "obstacle": None, "loop": 1, "loops": 1, "for_s": None, "check_edges": False,
        "checks_edges_now": False, "to_go_us": None,
        "production": {"done": 0, "mean_us": None, "slowest": None, "interventions": {}},
        "start": {
            "at_us": NOW_US - 7_400_000, "path_us": 0, "attempts": 1, "start_delay_us": 240_000,
            "set": False, "start_skew_us": 62, "start_skew_max_us": 1400, "start_margin_us": {},
        },
        **values,
    }  # fmt: skip


def whole(joints: int = 6, seq: int = 1, version: str = "1", **values: Any) -> dict[str, Any]:
    """The first message of a feed whose arm plays."""
    lanes = [joint(index) for index in range(joints)]
    past = [NOW_US - 10_000_000 + 100_000 * k for k in range(100)]
    state = {
        "arm": "bench arm", "session": "0" * 16, "now_us": NOW_US, "phase": "moving",
        "condition": condition(cause="prick_out_tray.nc"), "rests_after_us": 4_000_000,
        "poses": {"park": dict.fromkeys(NAMES, 0.0)},
        "homing_ways": [homing_way(one["name"]) for one in reversed(lanes)],
        "homing_while_held": False,
        "run": run(), "homing": None, "update": None, "start_forecast": None, "joints": lanes,
        "unknown": [],
        "warnings": [],
        "alarms": {"returned": [], "shelved": [], "flood": None},
        "notes": [note(NOW_US - 7_000_000, "Start of prick_out_tray.nc: first try.")],
        "preview": {
            "at_us": NOW_US, "step_us": 200_000,
            "deg": {one["name"]: [_wave(one, 0.2 * k) for k in range(16)] for one in lanes},
        },
        **values,
    }  # fmt: skip
    state["busy"] = state["phase"] not in ("idle", "held", "paused")
    history = {
        "joints": {
            one["name"]: {"at_us": past, "deg": [_wave(one, (at - NOW_US) / 1e6) for at in past]}
            for one in lanes
        },
        "temperature": {
            one["name"]: {"at_us": past[::20], "c": [one["temperature_c"]] * 5} for one in lanes
        },
    }
    return {"type": "whole", "seq": seq, "version": version, "state": state, "history": history}


def homing_way(name: str, **values: Any) -> dict[str, Any]:
    """How a joint whose angle is known would home."""
    return {
        "joint": name, "angle_known": True, "searches": "smaller", "travel_deg": 260.0,
        "on_sensor": False, "backoff_deg": 5.0, "speed_deg_s": 20.0, "may_collide": "", **values,
    }  # fmt: skip


def note(at_us: int, message: str, level: str = "info") -> dict[str, Any]:
    """Something that happened."""
    return {
        "at_us": at_us,
        "level": level,
        "code": "start",
        "message": message,
        "joint": None,
        "detail": False,
    }


def homing(number: int = 2) -> dict[str, Any]:
    """What the newest homing of a joint found."""
    edges = ((6_180, True, True), (7_420, False, True), (6_200, True, False), (7_400, False, False))
    return {
        "homing": number, "middle": 6_800, "home_offset_deg": 0.35,
        "edges": [
            {
                "position": position, "rising": rising, "fast": fast,
                "from_middle_deg": (position - 6_800) / 320,
            }
            for position, rising, fast in edges
        ],
    }  # fmt: skip


ANSWERS: Final[dict[str, Callable[[], Response]]] = {
    "/session": lambda: JSONResponse({"role": "operate"}),
    "/control": lambda: JSONResponse({"you": "me"}),
    "/runs/{run}/program": lambda: Response("G0 A10\nM2\n"),
    "/joints/{joint}/homing": lambda: JSONResponse(homing()),
    "/survey": lambda: JSONResponse(plain(SURVEY)),
    "/joints/{joint}/wear": lambda: JSONResponse(plain(WEAR)),
    "/rehearsals": lambda: JSONResponse({"network": "home", "repetitions": 20}),
}
"""What a page asks by itself, and what it is told."""


def change(seq: int, **values: Any) -> dict[str, Any]:
    """A later message, empty unless told otherwise."""
    told = {"type": "change", "seq": seq, "at_us": NOW_US + 50_000 * seq, "set": {}, "joints": {}}
    return {**told, "notes": [], **values}


def _wave(one: dict[str, Any], s: float) -> float:
    where: float = one["position_deg"]
    return where + 20 * math.sin(max(s, -7.4) * (0.5 + where / 200)) * (1 if s > -7.4 else 0.98)
