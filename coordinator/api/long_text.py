"""Long programs: sent as they are and once, then named by their digest.

JSON of many megabytes takes so long to be taken apart that an arm which moves would notice.
"""

import asyncio
import hashlib
from dataclasses import dataclass

from coordinator.api.bodies import LongBody
from coordinator.codes.refusal import RefusalCode
from coordinator.core.events import Refused
from coordinator.programs.size import long_mistake, size_mistake


@dataclass(frozen=True, slots=True)
class SentText:
    """What was sent."""

    sha256: str
    text: str


class LongText:
    """The text that was sent last; one is enough for who checks it and then plays it."""

    def __init__(self) -> None:
        self._sent: SentText | None = None

    async def take(self, body: bytes) -> str:
        """Keep a text in UTF-8, in place of the one before; its digest. Raises Refused."""
        self._sent = await asyncio.to_thread(_read, body)
        return self._sent.sha256

    def of(self, body: LongBody, name: str) -> str:
        """The text of a body, by itself or by its digest. Raises Refused."""
        if body.text is not None:
            if sentence := size_mistake(name, len(body.text.encode(errors="replace"))):
                raise Refused(RefusalCode.PROGRAM_TOO_LARGE, sentence)
            return body.text
        if self._sent is None or self._sent.sha256 != body.sent:
            told = f"the text that {name} names by its digest is not here any more; send it again"
            raise Refused(RefusalCode.TEXT_GONE, told)
        return self._sent.text


def _read(body: bytes) -> SentText:
    if sentence := long_mistake("the program", body):
        raise Refused(RefusalCode.PROGRAM_TOO_LARGE, sentence)
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        line = body.count(b"\n", 0, error.start) + 1
        told = f"the program is not UTF-8 text: byte {error.start + 1}, on line {line}"
        raise Refused(RefusalCode.TEXT_UNCLEAR, told) from error
    return SentText(hashlib.sha256(body).hexdigest(), text)
