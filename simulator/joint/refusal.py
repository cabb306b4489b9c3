"""Why a joint refuses a request or a session: a stable code and a sentence."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Refusal:
    """Becomes a `reject` on the stream."""

    code: str
    message: str
