"""Where the update of a joint's firmware is."""

from enum import StrEnum
from typing import Final, Self


class UpdatePhase(StrEnum):
    """Stable, for programs; `says` is what is so then, a sentence."""

    says: str

    def __new__(cls, code: str, says: str) -> Self:
        """A word and its sentence."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.says = says
        return member

    OFFERED = "offered", "The joint was told what comes, and is to say how much of it it has."
    SENDING = "sending", "The image is on its way."
    INSTALLING = "installing", "The joint has all of it, and checks it before it restarts."
    RESTARTING = "restarting", "The joint restarts with the new image; it is not heard meanwhile."
    ON_TRIAL = "on-trial", "The new image runs; one that answers no drive gives way to the old one."
    DONE = "done", "The new image runs, and has confirmed itself."
    WENT_BACK = "went-back", "The new image did not answer: the old one runs again."
    FAILED = "failed", "It came to nothing, or what came of it is not known; `code` says why."
    CANCELLED = "cancelled", "It was cancelled before the joint was to install anything."

    @property
    def is_over(self) -> bool:
        """Whether nothing more comes of it."""
        return self in _OVER

    @property
    def may_be_cancelled(self) -> bool:
        """Whether the joint was not yet asked to install anything."""
        return self in (UpdatePhase.OFFERED, UpdatePhase.SENDING)

    @property
    def awaits_restart(self) -> bool:
        """Whether a restart of the joint is nothing that surprises."""
        return not self.is_over and not self.may_be_cancelled


def by_itself(phase: UpdatePhase) -> str:
    """What a joint does in an update whose coordinator ends in it, a clause."""
    match phase:
        case UpdatePhase.INSTALLING:
            return "whether it installs is not known"
        case UpdatePhase.RESTARTING:
            return "it restarts by itself, and goes back where it then hears no drive"
        case UpdatePhase.ON_TRIAL:
            return "it goes back where it then hears no drive"
    return "what came is kept, and does nothing"


_OVER: Final = frozenset(
    {UpdatePhase.DONE, UpdatePhase.WENT_BACK, UpdatePhase.FAILED, UpdatePhase.CANCELLED}
)


class UpdateTrouble(StrEnum):
    """Why an update failed, where that is not a joint's own reject code (protocol/README.md)."""

    says: str

    def __new__(cls, code: str, says: str) -> Self:
        """A code and its sentence."""
        member = str.__new__(cls, code)
        member._value_ = code
        member.says = says
        return member

    OFFLINE = "joint-offline", "The joint's stream broke, and did not come back in time."
    SILENT = "silent", "The joint did not answer in time."
    STALLED = "stalled", "For minutes no byte more of the image came through."
    NOT_BACK = "not-back", "The joint did not come back after the restart."
    UNKNOWN = "install-unknown", "The joint restarted before it said whether it installs."
    INSTALL_SILENT = "install-silent", "The joint did not say in time whether it installs."
    DIFFERENT = "image-different", "The joint says that it has more of the image than there is."
    ENDING = "ending", "The coordinator ended."


_PASSES: Final = frozenset(
    {
        UpdateTrouble.OFFLINE,
        UpdateTrouble.SILENT,
        UpdateTrouble.STALLED,
        UpdateTrouble.UNKNOWN,
        *("not-at-rest", "energised", "on-trial"),
        *("image-wrong", "image-store"),  # what came is sent anew, and may be stored elsewhere
    }
)
"""Why an update failed that may go well the next time. Not where the joint has not come back, or
was to install and is silent: what runs in it must be known first."""


def may_be_repeated(phase: UpdatePhase, code: str) -> bool:
    """Whether the same image may come to more, after an update that ended so.

    Not where the joint went back: that its supply went only a person can know, and an image that
    does not come up should not be tried again for nothing.
    """
    return phase is UpdatePhase.CANCELLED or (phase is UpdatePhase.FAILED and code in _PASSES)
