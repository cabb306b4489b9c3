"""Starts of six joints on real sockets: true spread against the bound that each report states."""

import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from coordinator.client import Client, Refused
from tests.e2e.harness import Bench, bench, spread_us, until

LETTERS = "ABCDEU"
STEP_DEG = 1.0
PATIENCE_S = 120.0


@dataclass(slots=True)
class Starts:
    """What one profile gave. Times in µs."""

    network: str
    spread: list[float] = field(default_factory=list)
    bound: list[float] = field(default_factory=list)
    claimed: list[float] = field(default_factory=list)
    lead: list[float] = field(default_factory=list)
    first_attempt: int = 0
    refused: int = 0
    partial: int = 0
    held: int = 0
    violations: list[dict[str, Any]] = field(default_factory=list)


def measure(network: str, count: int, seed: int) -> Starts:
    """So many starts over one kind of network."""
    found = Starts(network)
    with tempfile.TemporaryDirectory() as folder, bench(Path(folder), 6) as made:
        made.simulate(network=network, seed=seed)
        made.serve()
        made.until_linked()
        while made.unisono("home").returncode != 0:
            print(f"{network}: homing again", file=sys.stderr)
        with Client(made.url) as client:
            for k in range(count):
                _one(made, client, found, -150.0 + STEP_DEG * (k % 2))
                print(f"\r{network}: start {k + 1} of {count}", end="", file=sys.stderr)
        print(file=sys.stderr)
    return found


def _one(made: Bench, client: Client, found: Starts, target: float) -> None:
    before = len(made.truths())
    text = f"G0 {' '.join(f'{letter}{target:g}' for letter in LETTERS)}\nM2\n"
    number = _play(client, text)
    report = until(lambda: _ended(client, number, found), f"run {number} ended", PATIENCE_S)
    found.partial += report["partial_starts"]
    start = report["start"]
    if report["outcome"] == "refused" or start is None:
        found.refused += 1
        return
    truths = [line for line in made.truths()[before:] if line["event"] == "start"]
    if len(truths) < 6 or start["bound_us"] is None:
        found.held += 1
        return
    true_us = spread_us(truths)
    found.spread.append(true_us)
    found.bound.append(start["bound_us"])
    found.claimed.append(start["spread_us"])
    found.lead.append(start["lead_us"])
    found.first_attempt += start["attempts"] == 1
    if true_us > start["bound_us"]:
        found.violations.append({"run": number, "true_us": true_us, "start": start})


def _play(client: Client, text: str) -> int:
    """Begin, waiting for whatever the last run left to be over."""
    end = time.monotonic() + PATIENCE_S
    while True:
        try:
            return client.play("step.nc", text)
        except Refused:
            if time.monotonic() > end:
                raise
            time.sleep(0.05)


def _ended(client: Client, number: int, found: Starts) -> dict[str, Any] | None:
    report = client.report(number)
    if report["ended_at_us"] is None and report["outcome"] == "held":
        # Not every hold is a fault of the start: go on until the run ends.
        try:
            client.resume()
            found.held += 1
        except Refused:
            return None
    return report if report["ended_at_us"] is not None else None
