"""A program followed from the first message to the last, with real processes."""

import json
from typing import Any

import httpx2
from websockets.sync.client import ClientConnection, connect

from tests.coordinator.api.reader import applied
from tests.e2e.harness import Bench, program

LIVE = {"age_us", "heard_at_us", "clock", "worst_delay_us", "loss", "rtt_p50_us", "rtt_p99_us"}
"""What is different at every exchange, so that two looks do not agree about it."""


class Follower:
    """A reader of the feed who insists on its numbering."""

    def __init__(self, client: ClientConnection) -> None:
        self._client = client
        whole = self._next()
        self.history = whole["history"]
        self.state = whole["state"]
        self.seq = whole["seq"]
        self.seen = [self.state]

    def follow(self) -> None:
        """One message further."""
        message = self._next()
        assert (message["type"], message["seq"]) == ("change", self.seq + 1)
        self.seq += 1
        self.state = applied(self.state, message)
        self.seen.append(self.state)

    def _next(self) -> dict[str, Any]:
        found: dict[str, Any] = json.loads(self._client.recv(timeout=30))
        return found


def steady(joint: dict[str, Any]) -> dict[str, Any]:
    """What stays while a joint rests, to the digits that are told."""
    kept = {key: value for key, value in joint.items() if key not in LIVE}
    counted = {key: n for key, n in kept["counters"].items() if key not in ("exchanges", "lost")}
    return kept | {
        "counters": counted,
        "temperature_c": None,
        "supply_v": None,
        "supply": None,
        "position_deg": round(joint["position_deg"], 2),
    }


def test_who_follows_the_feed_sees_the_start_set_proved_and_the_run_to_its_end(
    bench: Bench,
) -> None:
    # On a link so good that a start is only 50 ms ahead, it may be over before anybody is told.
    bench.simulate(network="home")
    bench.serve()
    bench.until_linked()
    bench.home()
    url = f"{bench.url.replace('http', 'ws')}/api/v1/feed"
    with connect(url, compression=None, proxy=None) as client:
        follower = Follower(client)
        assert set(follower.history["joints"]) == set(bench.joints)
        bench.play(program(-150, -155, -140))
        while not any(state["run"] for state in follower.seen):
            follower.follow()
        while follower.state["run"]:
            follower.follow()
        follower.follow()
        arm = bench.arm_now()
        for told, asked in zip(follower.state["joints"], arm["joints"], strict=True):
            assert steady(told) == steady(asked)
        assert follower.state["notes"] == arm["notes"]

        runs = [state for state in follower.seen if state["run"]]
        starts = [state["run"]["start"] for state in runs if state["run"]["start"]]
        report = bench.ask("report")
        assert any(start["set"] for start in starts)
        assert starts[-1]["at_us"] == report["start"]["at_us"]
        assert 0 < starts[-1]["start_skew_us"] <= starts[-1]["start_skew_max_us"]
        assert all(margin > 0 for margin in starts[-1]["start_margin_us"].values())
        moving = [state for state in runs if state["phase"] == "moving"]
        assert len(moving) > 10
        assert all(set(state["preview"]["deg"]) == set(bench.joints) for state in moving)
        left = [state["run"]["left_us"] for state in moving]
        assert left == sorted(left, reverse=True)
        assert {state["run"]["lines"] for state in runs} == {4}
        assert follower.state["preview"] is None
    found = httpx2.get(f"{bench.url}/metrics").text
    assert 'unisono_runs_total{outcome="finished"} 1.0' in found
    assert httpx2.get(f"{bench.url}/readyz").status_code == 200
