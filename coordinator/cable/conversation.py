"""Questions to a board over a port, and its answers."""

import time
from pathlib import Path
from typing import Final

from coordinator.cable.errors import CableError, Trouble
from coordinator.cable.port import Port
from protocol.cable import requests
from protocol.cable.frames import PAUSE_S, Decoder, Frame, encode
from protocol.cable.requests import ANSWER, Kind, Refusal, Who, Wifi
from protocol.errors import WireError

ANSWER_S: Final = 1.0
ATTEMPTS: Final = 3
_WHY: Final = {
    Refusal.UNKNOWN: "its firmware does not know this request: it is older than this program",
    Refusal.BODY: "its firmware does not take what was sent: it is of another version",
    Refusal.KEY_SET: "it has the key of another arm, and keeps it: 'unisono joint forget' makes it "
    "forget that, with its network and name",
    Refusal.DRIVERS_ON: "its drivers are on: what it is told would end their current, and a raised "
    "arm would fall; bring the motors off first",
    Refusal.STORE: "it could not store it, and keeps what it had",
}
_OTHER_SIGNER: Final = (
    "it trusts another key for its updates, and keeps that: 'unisono joint forget' makes it forget "
    "all keys, its network and name"
)
_TROUBLE: Final = {
    Refusal.KEY_SET: Trouble.OTHER_KEY,
    Refusal.UNKNOWN: Trouble.UNKNOWN,
}


class Conversation:
    """Asks one board. Every method raises CableError."""

    def __init__(self, port: Port) -> None:
        self._port = port
        self._decoder = Decoder()
        self._number = 0
        self._heard = 0
        """Bytes since the last question."""
        self._has_echo = False

    def who(self) -> Who:
        """Who are you?"""
        try:
            return requests.read_who(self.ask(Kind.WHO))
        except WireError as error:
            raise self._stranger(error) from error

    def wifi(self) -> Wifi:
        """How is your network?"""
        try:
            return requests.read_wifi(self.ask(Kind.WIFI))
        except WireError as error:
            raise self._stranger(error) from error

    def do(self, kind: Kind, body: bytes = b"") -> None:
        """Have something set that answers with nothing."""
        try:
            requests.read_done(self.ask(kind, body))
        except WireError as error:
            raise self._stranger(error) from error

    def offer(self, kind: Kind, body: bytes) -> bool:
        """The same of what not every board knows: whether this one does."""
        try:
            self.do(kind, body)
        except CableError as error:
            if error.trouble is not Trouble.UNKNOWN:
                raise
            return False
        return True

    def forget(self) -> None:
        """Have it forget keys, network and name: asked, and asked again."""
        try:
            sure = requests.read_forget(self.ask(Kind.FORGET, requests.forget_body(0)))
            if sure:
                sure = requests.read_forget(self.ask(Kind.FORGET, requests.forget_body(sure)))
        except WireError as error:
            raise self._stranger(error) from error
        if sure:
            raise CableError(Trouble.REFUSED, f"{self.where} did not forget: ask again")

    def ask(self, kind: Kind, body: bytes = b"") -> bytes:
        """The body of the answer."""
        self._number = (self._number + 1) % 256
        self._heard, self._has_echo = 0, False
        for _ in range(ATTEMPTS):
            self._port.write(encode(Frame(kind, self._number, body)))
            answer = self._answer(kind)
            if answer is not None:
                return answer
        raise self._unanswered()

    @property
    def where(self) -> Path:
        """The port."""
        return self._port.path

    def _answer(self, kind: Kind) -> bytes | None:
        """What comes within ANSWER_S."""
        end_s = time.monotonic() + ANSWER_S
        while (left_s := end_s - time.monotonic()) > 0:
            data = self._port.read(min(left_s, PAUSE_S))
            self._heard += len(data)
            for frame in self._decoder.feed(data) if data else self._decoder.pause():
                if frame.kind < ANSWER:
                    self._has_echo = True
                elif frame.number == self._number and (
                    self._refused(frame, kind) or frame.kind == kind | ANSWER
                ):
                    return frame.body
        return None

    def _refused(self, frame: Frame, asked: Kind) -> bool:
        """False where it is none. Raises CableError."""
        try:
            why = requests.refusal(frame)
        except WireError as error:
            raise self._stranger(error) from error
        if why is not None:
            is_other_signer = why is Refusal.KEY_SET and asked is Kind.SET_UPDATE_KEY
            told = _OTHER_SIGNER if is_other_signer else _WHY[why]
            trouble = _TROUBLE.get(why, Trouble.REFUSED)
            raise CableError(trouble, f"the board at {self.where} refuses: {told}")
        return False

    def _unanswered(self) -> CableError:
        if self._has_echo:
            return CableError(
                Trouble.STRANGER, f"{self.where} sends back what it is sent: no board is there"
            )
        if self._heard:
            return CableError(
                Trouble.STRANGER,
                f"something speaks at {self.where}, but not as a joint does over its cable: is it "
                "another device, or a board without this project's firmware?",
            )
        return CableError(
            Trouble.SILENT,
            f"nothing answers at {self.where} within {ATTEMPTS * ANSWER_S:g} s: has the board "
            "power and firmware, and does the cable carry data?",
        )

    def _stranger(self, error: WireError) -> CableError:
        return CableError(
            Trouble.STRANGER, f"the board at {self.where} answers wrongly: {error.message}"
        )
