"""A stand-in for the coordinator of an elbow, for tests that home and turn it."""

import json
from typing import Any, Final
from urllib.parse import urlsplit

from tests.coordinator.cli.servers import ARM, HOMED, Answer, joint
from tests.quick_arm import arm_text

TEXT: Final = arm_text(3, "00000000ab")
"""The arm file that it has, of the quick arm."""
JSON: Final = {"Content-Type": "application/json"}


class ElbowAlone:
    """One that does at once whatever it is asked. What its elbow does is for those who inherit."""

    def __init__(self) -> None:
        self.text = TEXT
        self.is_homed = True
        self.homed = 0
        """How often it was."""

    def __call__(self, path: str, body: bytes) -> Answer:
        where = urlsplit(path).path.removeprefix("/api/v1")
        if where == "/arm/file":
            return 200, {"Content-Type": "text/plain; charset=utf-8"}, self.text.encode()
        if where == "/home":
            self.homed += 1
        if where == "/step":
            self.turned(json.loads(body))
        if where.startswith("/homings/"):
            found = {"edges": [], "middle": 0, "home_offset_deg": 0.0} | self.found()
            answer: object = HOMED | {"asked": ["elbow"], "joints": {"elbow": found}}
            return 200, JSON, json.dumps(answer).encode()
        answers: dict[str, object] = {
            "/arm": ARM | {"joints": [joint("elbow", homed=self.is_homed, **self.elbow())]},
            "/home": {"homing": self.homed},
            "/step": ARM,
            "/control/release": {"holder": None, "you": "me", "watchers": 0},
        }
        return 200, JSON, json.dumps((answers | self.more())[where]).encode()

    def turned(self, asked: dict[str, Any]) -> None:
        """A step was asked for."""

    def found(self) -> dict[str, Any]:
        """What its newest homing found, beside what it usually does."""
        return {}

    def elbow(self) -> dict[str, Any]:
        """What is told of the joint, beside what is usual."""
        return {}

    def more(self) -> dict[str, object]:
        """What is answered besides, by path."""
        return {}
