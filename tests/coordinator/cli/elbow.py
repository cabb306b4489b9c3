"""A stand-in for the coordinator of an elbow, for tests that home and turn it."""

import json
from typing import Any, Final
from urllib.parse import urlsplit

from tests.coordinator.cli.servers import ARM, HOMED, Answer, joint
from tests.quick_arm import arm_text

TEXT: Final = arm_text(3, "00000000ab")
"""The arm file that it has, of the quick arm."""
WAY: Final = ARM["homing_ways"][0] | {"joint": "elbow"}
JSON: Final = {"Content-Type": "application/json"}


class ElbowAlone:
    """One that does at once whatever it is asked. What its elbow does is for those who inherit."""

    def __init__(self) -> None:
        self.text = TEXT
        self.is_homed = True
        self.homed = 0
        """How often it was."""
        self.stepped = 0
        """How many steps it was asked for."""
        self.position_deg = 0.0
        self.is_stopped = False
        self.stopped_in: int | None = None
        """The step in whose middle somebody else stops the arm; None for none."""
        self.held_in: int | None = None
        """The step in whose middle somebody else holds it."""

    def __call__(self, path: str, body: bytes) -> Answer:
        where = urlsplit(path).path.removeprefix("/api/v1")
        if where == "/arm/file":
            return 200, {"Content-Type": "text/plain; charset=utf-8"}, self.text.encode()
        if where == "/home":
            self.homed += 1
            self.is_stopped, self.position_deg = False, 0.0
        if where == "/step":
            self._step(json.loads(body))
        if where.startswith("/homings/"):
            found = {"edges": [], "middle": 0, "home_offset_deg": 0.0} | self.found()
            answer: object = HOMED | {"asked": ["elbow"], "joints": {"elbow": found}}
            return 200, JSON, json.dumps(answer).encode()
        answers: dict[str, object] = {
            "/arm": ARM
            | {
                "joints": [self._joint()],
                "condition": self._condition(),
                "homing_ways": [WAY | {"on_sensor": self.on_sensor()}],
            },
            "/home": {"homing": self.homed},
            "/step": ARM,
            "/control/release": {"holder": None, "you": "me", "watchers": 0},
        }
        return 200, JSON, json.dumps((answers | self.more())[where]).encode()

    def _step(self, asked: dict[str, Any]) -> None:
        """As the coordinator does: a step clears a latched stop."""
        self.stepped += 1
        self.is_stopped = self.stepped == self.stopped_in
        ends_early = self.stepped in (self.stopped_in, self.held_in)
        self.position_deg += asked["by_deg"] / (2 if ends_early else 1)
        self.turned(asked)

    def _joint(self) -> dict[str, Any]:
        usual = {
            "homed": self.is_homed, "position_deg": self.position_deg, "velocity_deg_s": 0.0,
            "stop": int(self.is_stopped), "stop_wanted": 0, "faults": (),
        }  # fmt: skip
        return joint("elbow", **usual | self.elbow())

    def _condition(self) -> object:
        if not self.is_stopped:
            return ARM["condition"]
        return ARM["condition"] | {"word": "stopped", "cause": "stopped by the operator"}

    def turned(self, asked: dict[str, Any]) -> None:
        """A step was asked for."""

    def on_sensor(self) -> bool | None:
        """Whether it says that it stands on its home sensor."""
        return True

    def found(self) -> dict[str, Any]:
        """What its newest homing found, beside what it usually does."""
        return {}

    def elbow(self) -> dict[str, Any]:
        """What is told of the joint, beside what is usual."""
        return {}

    def more(self) -> dict[str, object]:
        """What is answered besides, by path."""
        return {}
