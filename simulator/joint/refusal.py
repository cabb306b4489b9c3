"""Why a joint refuses a request or a session: a stable code and a sentence."""

from dataclasses import dataclass

from protocol.messages import MAX_SENTENCE, Reject


@dataclass(frozen=True, slots=True)
class Refusal:
    """Becomes a `reject` on the stream."""

    code: str
    message: str

    def reject(self, ref: int) -> Reject:
        """The reject of a frame. A sentence that quotes its sender may be too long for one."""
        return Reject(ref=ref, code=self.code, message=self.message[:MAX_SENTENCE])
