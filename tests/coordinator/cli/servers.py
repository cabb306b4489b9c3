"""Web servers that stand in for a coordinator."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any, Final

from coordinator.api.responses import arm
from coordinator.api.responses.base import plain
from coordinator.api.responses.homing import HOMING
from coordinator.api.responses.report import REPORT
from coordinator.api.responses.run import OVER, RUN
from coordinator.client.reading import read
from coordinator.client.values import ArmSnapshot

ARM: Final[dict[str, Any]] = plain(arm.ARM) | {
    "arm": "an arm", "now_us": 5, "phase": "idle", "busy": False, "run": None, "homing": None,
    "start_forecast": None, "joints": [], "unknown": [], "warnings": [], "notes": [],
    "alarms": {"returned": [], "shelved": [], "flood": None},
    "rests_after_us": 2_900_000, "poses": {"park": {"turntable": 0.0}},
    "condition": {
        "word": "at rest", "cause": "", "joint": None, "at_us": None, "unconfirmed": [],
        "rests_by_us": None,
    },
}  # fmt: skip
"""What `GET /arm` says of an arm without joints, which rests."""
CONTROL: Final[dict[str, Any]] = {
    "holder": "me", "you": "me", "name": "a terminal", "since_us": 3, "acted_us": 4, "watchers": 0,
}  # fmt: skip
"""What `GET /control` says to who has it."""
HOMED: Final[dict[str, Any]] = plain(HOMING)
"""Of a homing that is done, of the elbow."""
GOING: Final[dict[str, Any]] = plain(RUN) | {"number": 1, "run": 1, "outcome": "playing"}
"""Of a run that moves."""
ENDED: Final[dict[str, Any]] = plain(OVER)
"""Of a run that has finished."""
REPORTED: Final[dict[str, Any]] = plain(REPORT) | {
    "name": "good.nc", "start": None, "joints": [], "starts": [], "holds": [], "overrides": [],
}  # fmt: skip
"""The report of a run that has finished, and of which nothing is to be told."""
WARNED: Final[dict[str, Any]] = plain(arm.WARNING)
"""A warning that stands."""
CHECKED: Final[dict[str, Any]] = {
    "ok": True, "begins": "here", "duration_s": 1.0, "moves": [], "slower": [], "corners": [],
    "errors": [], "remarks": [], "seam": None, "more": {},
}  # fmt: skip
Answer = tuple[int, dict[str, str], bytes]
"""Status, headers and body."""


@contextmanager
def served(answer: Callable[[str, bytes], Answer]) -> Iterator[str]:
    """A server on loopback that answers a path and a body, empty for GET; its address."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            status, headers, body = answer(self.path, asked)
            self.send_response(status)
            for name, value in {**headers, "Content-Length": str(len(body))}.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(body)

        def do_POST(self) -> None:
            self.do_GET()

        def do_DELETE(self) -> None:
            self.do_GET()

        def log_message(self, format: str, *args: object) -> None:
            """Stay quiet."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        serving = threading.Thread(target=server.serve_forever)
        serving.start()
        try:
            yield f"http://127.0.0.1:{server.server_address[1]}"
        finally:
            server.shutdown()
            serving.join()


def joint(name: str, **values: Any) -> dict[str, Any]:
    """What `GET /arm` says of a joint that moves, but for these values."""
    made: dict[str, Any] = plain(arm.ARM.joints[0]) | {"name": name} | values
    return made


def arm_told(told: object) -> ArmSnapshot:
    """The value that a client reads from what `GET /arm` says."""
    return read(ArmSnapshot, plain(told))
