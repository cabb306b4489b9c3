"""The live feed for a terminal that jogs: what the arm says, and wishes back to it.

The feed's contract is in coordinator/api/README.md. A wish says when it was made, so that one that
waited on its way moves nothing; and where the feed ends, what it turns comes to rest.
"""

import contextlib
import json
import os
import ssl
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, Final, TypeVar
from urllib.parse import quote

from websockets.exceptions import ConnectionClosed, InvalidHandshake
from websockets.sync.client import ClientConnection, connect

from coordinator.answers.control import ControlState
from coordinator.client import Unreachable
from coordinator.client.asking import no_answer
from coordinator.client.place import Place
from coordinator.client.reading import Unlike, read
from coordinator.client.values import ArmSnapshot, JointSnapshot

T = TypeVar("T")

OPEN_S: Final = 5.0
SILENT_US: Final = 3_000_000
"""Messages come far more often: a feed that brings none is dead."""


class Feed:
    """What is known by one feed."""

    def __init__(self, connection: ClientConnection, url: str) -> None:
        self._connection, self._url = connection, url
        self._wishes = 0
        self._offset_us: float | None = None
        self.heard_us = _here_us()
        self._state: dict[str, Any] = {}
        self._seq = 0
        while not self._state:
            self._take(self._receive(OPEN_S))

    @property
    def arm(self) -> ArmSnapshot:
        """The arm as it was told last. Raises Unreachable for what is no arm."""
        return self._read(ArmSnapshot, self._state)

    @property
    def control(self) -> ControlState:
        """Who commands, as it was told last. Raises Unreachable."""
        return self._read(ControlState, self._state.get("control"))

    def joint(self, name: str) -> JointSnapshot:
        """One joint of the arm. Raises Unreachable."""
        found = next((one for one in self._state["joints"] if one["name"] == name), None)
        return self._read(JointSnapshot, found)

    def _read(self, kind: type[T], value: object) -> T:
        try:
            return read(kind, value)
        except Unlike as error:
            raise Unreachable(
                f"what answers at {self._url} is no coordinator: {error.member} {error}"
            ) from error

    @property
    def now_us(self) -> int:
        """Arm time now."""
        assert self._offset_us is not None, "the first message has been heard"
        return round(_here_us() + self._offset_us)

    def look(self) -> list[str]:
        """Take in all that has come. What wishes were refused for. Raises Unreachable."""
        refused = []
        with contextlib.suppress(TimeoutError):
            while True:
                message = self._receive(0)
                if message["type"] == "refused":
                    refused.append(str(message["message"]))
                else:
                    self._take(message)
        if _here_us() - self.heard_us > SILENT_US:
            raise Unreachable(f"the coordinator at {self._url} is not heard any more")
        return refused

    def wish(self, **wish: object) -> None:
        """Say what the hand wishes. Raises Unreachable."""
        self._wishes += 1
        text = json.dumps({**wish, "number": self._wishes, "at_us": self.now_us})
        try:
            self._connection.send(text)
        except ConnectionClosed as error:
            raise self._ended(error) from error

    def _receive(self, patience_s: float) -> dict[str, Any]:
        try:
            message: dict[str, Any] = json.loads(self._connection.recv(timeout=patience_s))
        except ConnectionClosed as error:
            raise self._ended(error) from error
        return message

    def _ended(self, error: ConnectionClosed) -> Unreachable:
        why = f": {error.rcvd.reason}" if error.rcvd and error.rcvd.reason else ""
        return Unreachable(f"the coordinator at {self._url} ended the feed{why}")

    def _take(self, message: dict[str, Any]) -> None:
        self.heard_us = _here_us()
        if message["type"] == "whole":
            self._state, at_us = message["state"], message["state"]["now_us"]
        else:
            if message["seq"] != self._seq + 1:
                raise Unreachable(f"the feed of {self._url} left something out")
            at_us = message["at_us"]
            joints = [one | message["joints"].get(one["name"], {}) for one in self._state["joints"]]
            notes = [*self._state["notes"], *message["notes"]]
            changed = {"now_us": at_us, "joints": joints, "notes": notes[-200:]}
            self._state = self._state | message["set"] | changed
        self._seq = message["seq"]
        # The message that was least delayed says best how arm time and time here stand.
        offset_us = at_us - self.heard_us
        before = self._offset_us
        late = before is not None and offset_us < before
        self._offset_us = before + (offset_us - before) * 0.02 if before and late else offset_us


@contextlib.contextmanager
def feed_at(url: str) -> Iterator[Feed]:
    """Follow the coordinator there. Raises Unreachable."""
    token = os.environ.get("UNISONO_TOKEN", "")
    certificate = os.environ.get("UNISONO_CERTIFICATE")
    place = Place.at(url, token, Path(certificate) if certificate else None)
    headers = place.headers
    query = f"client={headers['Unisono-Client']}&name={quote(headers['Unisono-Client-Name'])}"
    secure = place.api.scheme == "https"
    trusted = place.verify if isinstance(place.verify, ssl.SSLContext) else None
    allowed = {"Authorization": headers["Authorization"]} if "Authorization" in headers else {}
    try:
        connection = connect(
            f"ws{str(place.api).removeprefix('http')}/feed?{query}",
            additional_headers=allowed,
            ssl=(trusted or ssl.create_default_context()) if secure else None,
            compression=None,
            proxy=None,
            open_timeout=OPEN_S,
            close_timeout=1.0,
        )
    except InvalidHandshake as error:
        raise Unreachable(f"the coordinator at {place.url} opens no feed: {error}") from error
    except OSError as error:
        raise Unreachable(no_answer(place.url, error)) from error
    with connection:
        try:
            feed = Feed(connection, place.url)
        except TimeoutError as error:
            raise Unreachable(
                f"the feed of {place.url} says nothing within {OPEN_S:g} s"
            ) from error
        yield feed


def _here_us() -> float:
    return time.monotonic() * 1e6
