"""Updates of an arm's joints, one at a time, and what they keep from beginning meanwhile.

Nothing moves in an update, and nothing that moves may begin: a restart lets a motor go. What stops
the arm is never kept from anything.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from coordinator.codes.refusal import RefusalCode
from coordinator.codes.update_phase import UpdatePhase, may_be_repeated
from coordinator.core.events import Refused
from coordinator.core.events import Update as Asked
from coordinator.core.link.link import JointLink
from coordinator.core.link.words import listed, offline
from coordinator.core.outbox import Outbox
from coordinator.core.readiness import require_alone
from coordinator.core.updating.update import Update
from protocol import messages
from protocol.messages import Welcome

WAY_OFF: Final = (
    "bring the arm to its park pose and its motors off first, by 'unisono stop --level "
    "stop-and-release --park' or Motors off… on the page; a raised arm may fall"
)


def require_limp(link: JointLink, links: Sequence[JointLink], now: int) -> None:
    """The joint is there, and its motor is off and stays so; `links` are all of the arm, which say
    how it can be brought there. Raises Refused.
    """
    require_alone(link)
    if not link.up or link.status is None or not link.heard(now):
        raise Refused(RefusalCode.JOINT_OFFLINE, offline(link, now))
    if link.status.energised or link.orders.energise:
        raise Refused(RefusalCode.ENERGISED, f"the motor of {link.name} is on: {_way_off(links)}")


def _way_off(links: Sequence[JointLink]) -> str:
    """How motors go off: from the pose `park`, but where a joint keeps the arm from going there."""
    unhomed = [link.name for link in links if not link.homed]
    if not unhomed:
        return WAY_OFF
    return (
        f"{listed(unhomed)} {'is' if len(unhomed) == 1 else 'are'} not homed, so that the arm "
        "cannot be parked: support it, then bring its motors off by 'unisono stop --level "
        "stop-and-release' or Motors off… on the page; it may fall as they go off"
    )


@dataclass(frozen=True, slots=True)
class UpdateSnapshot:
    """How an update of a joint's firmware goes or went."""

    joint: str
    phase: UpdatePhase
    message: str
    """Where it is, or what became of it, for people."""
    code: str
    """Why it failed: a joint's reject code (wire document) or a word of `UpdateTrouble`; empty
    where it has not."""
    before: str
    """The version that ran when it was begun."""
    firmware: str
    """The version of the image."""
    board: str
    size_bytes: int
    sent_bytes: int
    """Of these, which the joint has acknowledged; fewer again where power or stream went."""
    sha256: str
    may_be_cancelled: bool
    """Whether it can be cancelled now: not once the joint was to install it."""
    may_be_repeated: bool
    """Whether the same file again may come to more: it was cancelled, or what failed passes. What
    the joint keeps of it is sent no second time."""


class Updates:
    """The newest update of one arm, and what it means for the others' commands."""

    def __init__(self, links: Sequence[JointLink], outbox: Outbox) -> None:
        self._links = links
        self._outbox = outbox
        self._update: Update | None = None

    # ---- commands ---------------------------------------------------------------------------

    def begin(self, link: JointLink, asked: Asked, now: int) -> None:
        """Update a joint that could be. Raises Refused."""
        _require_image(link, asked)
        self._update = Update(link, asked.file, self._outbox, now)

    def cancel(self, link: JointLink, now: int) -> None:
        """Cancel a joint's update. Raises Refused."""
        update = self._update
        if update is None or update.phase.is_over or update.link is not link:
            raise Refused(RefusalCode.NO_UPDATE, f"no update of {link.name} is under way")
        if not update.phase.may_be_cancelled:
            raise Refused(
                RefusalCode.INSTALLING,
                f"{link.name} cannot be kept from it any more: {update.message}",
            )
        update.cancel(f"the update of {link.name} was cancelled", now)

    @property
    def under_way(self) -> bool:
        """Whether one goes on."""
        return self._update is not None and not self._update.phase.is_over

    def require_none(self, wanted: str) -> None:
        """Raise Refused while an update is under way."""
        update = self._update
        if update is not None and self.under_way:
            raise Refused(
                RefusalCode.UPDATING,
                f"{update.link.name} is being updated ({update.message}): {wanted} must wait",
            )

    # ---- what happens -----------------------------------------------------------------------

    def told(self, link: JointLink, event: messages.Updating, now: int) -> None:
        """A joint says how much of an image it keeps."""
        if self._update is not None and self._update.link is link:
            self._update.told(event, now)

    def step(self, now: int) -> None:
        """Do what is due."""
        if self._update is not None:
            self._update.step(now)

    def end(self, now: int) -> None:
        """The coordinator ends."""
        if self._update is not None:
            self._update.break_off(now)

    # ---- what others ask --------------------------------------------------------------------

    def away(self, link: JointLink) -> str:
        """Why a joint is not heard that restarts for its update, a clause; empty where that is not
        so. It ends in time: then the joint is lost as any other.
        """
        update = self._update
        if update is None or update.link is not link or not update.phase.awaits_restart:
            return ""
        return f"{link.name} is not heard: {update.message}"

    def restarted(self, link: JointLink, welcome: Welcome) -> str:
        """That a joint has restarted as it was to, a sentence; empty for one that surprises."""
        if not self.away(link):
            return ""
        trial = ", on trial" if welcome.on_trial else ""
        return f"{link.name} restarted in its update and runs {welcome.firmware}{trial}"

    def snapshot(self) -> UpdateSnapshot | None:
        """The newest one; None where none was asked for yet."""
        update = self._update
        if update is None:
            return None
        header = update.file.header
        return UpdateSnapshot(
            joint=update.link.name,
            phase=update.phase,
            message=update.message,
            code=update.code,
            before=update.before,
            firmware=header.firmware,
            board=header.board,
            size_bytes=header.size_bytes,
            sent_bytes=update.feed.acked,
            sha256=update.file.digest,
            may_be_cancelled=update.phase.may_be_cancelled,
            may_be_repeated=may_be_repeated(update.phase, update.code),
        )


def _require_image(link: JointLink, asked: Asked) -> None:
    """The joint could take the image. Raises Refused."""
    assert link.welcome is not None
    able, header, name = link.welcome.capabilities, asked.file.header, link.name
    if not able.board:
        raise Refused(
            RefusalCode.NO_IMAGES,
            f"{name} takes no firmware over the air: its firmware {link.welcome.firmware} does "
            "not say for which board; flash it over its cable",
        )
    if header.board != able.board:
        raise Refused(
            RefusalCode.IMAGE_BOARD,
            f"the image is for the board {header.board}, and {name} is a {able.board}",
        )
    if header.size_bytes > able.image_capacity:
        raise Refused(
            RefusalCode.IMAGE_SIZE,
            f"the image has {header.size_bytes} bytes, {name} has room for {able.image_capacity}",
        )
    if link.welcome.image == asked.file.digest:
        raise Refused(
            RefusalCode.IMAGE_RUNS,
            f"{name} runs this very image already, {link.welcome.firmware}",
        )
