"""All checks, in the order in which they are made, and by the order of the page in a table."""

from typing import Final

from coordinator.conform.check import Check, Section
from coordinator.conform.live import (
    announced,
    drives,
    frames,
    handshake,
    homing,
    jogging,
    malformed,
    opening,
    outputs,
    permits,
    plans,
    points,
    requests,
    restart,
    timing,
    update,
)

_MODULES: Final = (
    announced, opening, handshake, frames, malformed, requests, timing, drives,
    update, homing, points, jogging, plans, permits, outputs, restart,
)  # fmt: skip
CHECKS: Final[tuple[Check, ...]] = tuple(
    check
    for module in _MODULES
    for section in vars(module).values()
    if isinstance(section, Section)
    for check in section.checks
)
TITLES: Final = {
    "discovery": "Discovery",
    "proofs-and-keys": "Proofs and keys",
    "the-stream": "The stream",
    "handshake": "Handshake",
    "sessions": "Sessions",
    "frames": "Frames",
    "messages": "Messages",
    "configuration": "Configuration",
    "ntp-packet": "NTP packet",
    "what-is-answered": "What is answered",
    "status": "Status",
    "clocks": "Clocks",
    "points-frame": "Points frame",
    "what-a-buffer-must-hold": "What a buffer must hold",
    "segment-check": "Segment check",
    "plans": "Plans",
    "permits": "Permits",
    "jog": "Jog",
    "homing": "Homing",
    "stops": "Stops",
    "faults": "Faults",
    "current": "Current",
    "outputs": "Outputs",
    "update": "Update",
}
"""The headings of protocol/README.md, by their anchors, in its order."""
