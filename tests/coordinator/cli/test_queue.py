"""`unisono queue play`: Ctrl-C between two entries."""

import json

from coordinator.cli.queue import _next_run
from coordinator.cli.watch import Interrupts
from coordinator.client import Client
from tests.coordinator.cli.servers import Answer, served

REFUSED = {
    "type": "urn:unisono:problem:not-moving", "title": "Conflict", "status": 409,
    "detail": "nothing moves that could be held",
}  # fmt: skip


def test_ctrl_c_between_entries_holds_then_stops_and_is_refused_in_peace() -> None:
    pressed, asked = Interrupts(), list[str]()

    def answer(path: str, _body: bytes) -> Answer:
        path = path.removeprefix("/api/v1")
        kind = {"Content-Type": "application/json"}
        if path != "/queue":
            asked.append(path)
            return 409, kind | {"Content-Type": "application/problem+json"}, refused
        pressed.press()
        told = {"revision": 1, "entries": [], "playing": len(asked) < 3, "message": ""}
        return 200, kind, json.dumps(told).encode()

    refused = json.dumps(REFUSED).encode()
    with served(answer) as url, Client(url) as client:
        assert _next_run(client, 1, pressed) is None
    assert asked == ["/hold", "/stop", "/stop"]
