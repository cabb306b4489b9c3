"""One update of one joint, from the offer to the proof that its new firmware answers.

A stream that breaks costs nothing but time: on the next one the same image is offered again, and
the joint says how much of it it has. What cannot be known is told as not known.
"""

from functools import partial
from typing import Final

from coordinator.codes.level import Level
from coordinator.codes.update_phase import UpdatePhase, UpdateTrouble, by_itself
from coordinator.core.link.link import JointLink
from coordinator.core.link.words import not_heard
from coordinator.core.outbox import Outbox
from coordinator.core.updating.image_feed import ImageFeed
from coordinator.core.updating.signed import SignedImage
from protocol import messages
from protocol.constants import TRIAL_US, US
from protocol.messages import Reject, Welcome

OFFER_US: Final = 30_000_000
"""For a signature on a small controller, and for flash memory to be erased."""
FRAME_US: Final = 30_000_000
"""Without a byte more while the stream stands."""
AWAY_US: Final = 120_000_000
"""For a joint whose stream broke to be reached again."""
STALLED_US: Final = 300_000_000
"""Without a byte more whatever the stream does: it may break again and again at one place."""
INSTALL_US: Final = 60_000_000
"""For SHA-256 over all of a slow memory."""
BACK_US: Final = TRIAL_US + 60_000_000
"""For one that does not answer to give way to the old one, and that to be reached."""
GAPS: Final = 3
"""In a row, until a joint that lacks what it has acknowledged is believed to go on doing so."""
P = UpdatePhase


class Update:
    """New firmware for one joint. `step` sends what is due; the rest is called as it happens."""

    def __init__(self, link: JointLink, file: SignedImage, outbox: Outbox, now: int) -> None:
        self.link = link
        self.file = file
        self.phase = P.OFFERED
        self.code = ""
        """Why it failed: a joint's reject code, or an UpdateTrouble."""
        self.why = ""
        """The same as a sentence; what became of it, once it is over."""
        assert link.welcome is not None
        self.before = link.welcome.firmware
        """The version that ran when it was begun."""
        self.feed = ImageFeed(file.image)
        self._outbox = outbox
        self._boot = link.welcome.boot
        """The one to which the image was offered last, or which runs it."""
        self._streams = 0
        """How often its stream had been opened when it was last looked at."""
        self._taken = False
        """Whether it has taken the newest offer, so that it says next how much it has."""
        self._installs = False
        """Whether it was ever asked to install."""
        self._gaps = 0
        self._until_us = self._stalled_us = now
        self._stalled_us += STALLED_US

    def step(self, now: int) -> None:
        """Send what is due, look at what has become of the joint, and give up what is late."""
        if not self.phase.is_over:
            self._go_on(now)
            self._give_up_late(now)

    def told(self, event: messages.Updating, now: int) -> None:
        """The joint says how much of an image it keeps."""
        if self.phase is not P.OFFERED or not self._taken or event.image != self.file.digest:
            return
        size = self.file.header.size_bytes
        if event.received > size:
            self._fail(
                UpdateTrouble.DIFFERENT,
                f"{self.link.name} says that it has {event.received} bytes of an image of {size}",
                now,
            )
            return
        self._gained(is_more=self.feed.begin_at(event.received), now=now)
        self.phase = P.SENDING
        self._until_us = now + FRAME_US

    def cancel(self, why: str, now: int) -> None:
        """End it before anything is installed: nothing more is sent. What came, the joint keeps."""
        kept = f"what came of it ({self.feed.acked} bytes) is kept, and does nothing"
        self._end(P.CANCELLED, Level.INFO, f"{why}; {kept}", now, detail=True)

    def break_off(self, now: int) -> None:
        """The coordinator ends: whatever the joint does next, it does by itself."""
        if self.phase.is_over:
            return
        word, then = self.phase.replace("-", " "), by_itself(self.phase)
        why = f"{self.link.name}: the coordinator ended in an update that was {word}; {then}"
        self._fail(UpdateTrouble.ENDING, why, now)

    @property
    def message(self) -> str:
        """Where it is, a clause for people that is true now."""
        new, link = self.file.header.firmware, self.link
        if self.phase.is_over:
            return self.why
        if self.phase.may_be_cancelled and not link.up:
            return f"the stream to {link.name} broke; {new} goes on once it is there again"
        size = self.file.header.size_bytes
        match self.phase:
            case P.OFFERED:
                return f"offering {new} to {link.name}"
            case P.SENDING:
                return f"sending {new}, {self.feed.acked} of {size} bytes"
            case P.INSTALLING:
                return f"{link.name} checks {new} whole before it restarts"
            case P.RESTARTING:
                return f"restarting with {new}"
        return f"{new} is on trial"

    # ---- what follows on a stream -----------------------------------------------------------

    def _go_on(self, now: int) -> None:
        link = self.link
        if link.up and link.connection.streams != self._streams and link.welcome is not None:
            self._streams = link.connection.streams
            self._linked(link.welcome, now)
        if self.phase is P.SENDING and link.up:
            self._send(now)
        elif self.phase is P.ON_TRIAL and link.status is not None:
            # Of this boot: its status is forgotten when it restarts, and an older one not taken.
            self._confirmed(now)

    def _linked(self, welcome: Welcome, now: int) -> None:
        """A stream was opened, the first of this update or another one."""
        rebooted, self._boot = welcome.boot != self._boot, welcome.boot
        if welcome.image == self.file.digest:
            if welcome.on_trial:
                self.phase = P.ON_TRIAL
                self._until_us = now + BACK_US
            else:
                self._confirmed(now)
        elif self._installs and rebooted:
            if self.phase in (P.RESTARTING, P.ON_TRIAL):
                self._went_back(welcome, now)
            else:
                self._untold(welcome, now)
        elif self.phase.may_be_cancelled or self.phase is P.INSTALLING:
            self._offer(now)
        # Else the stream came back before the restart that it has promised.

    def _offer(self, now: int) -> None:
        self._taken = False
        self.phase = P.OFFERED
        self._until_us = now + OFFER_US
        request = messages.Update(
            header=self.file.signed.hex(), signature=self.file.signature.hex()
        )
        self._outbox.request(self.link, request, self._offer_answered, now)

    def _offer_answered(self, reject: Reject | None, now: int) -> None:
        if self.phase is not P.OFFERED:
            return
        if reject is None:
            self._taken = True
        else:
            self._rejected(reject, now)

    def _send(self, now: int) -> None:
        while (frame := self.feed.take()) is not None:
            end = frame.offset + len(frame.data)
            answer = partial(self._frame_answered, end)
            self._outbox.request(self.link, frame, answer, now)
        if self.feed.is_through:
            self._install(now)

    def _frame_answered(self, end: int, reject: Reject | None, now: int) -> None:
        if self.phase is not P.SENDING:
            return  # a joint answers in order: none of these comes after the next offer's answer
        if reject is None:
            self._gained(is_more=self.feed.acknowledged(end), now=now)
            self._until_us = now + FRAME_US
        else:
            self._rejected(reject, now)

    def _install(self, now: int) -> None:
        self._installs = True
        self.phase = P.INSTALLING
        self._until_us = now + INSTALL_US
        self._outbox.request(self.link, messages.Install(), self._install_answered, now)

    def _install_answered(self, reject: Reject | None, now: int) -> None:
        if self.phase is not P.INSTALLING:
            return
        if reject is None:
            self.phase = P.RESTARTING
            self._until_us = now + BACK_US
            words = f"{self.link.name} is restarting with {self.file.header.firmware}"
            self._outbox.note(now, Level.INFO, "update-restart", words, self.link.name, detail=True)
        else:
            self._rejected(reject, now)

    def _rejected(self, reject: Reject, now: int) -> None:
        """What was asked of it was not done."""
        if reject.code == "stream-closed":
            # It is offered again on the next one; a joint that was to install may restart first.
            self._until_us = now + (BACK_US if self.phase is P.INSTALLING else AWAY_US)
        elif reject.code in ("image-gap", "image-missing") and self._gaps < GAPS:
            self._gaps += 1
            self._offer(now)
        else:
            new, name = self.file.header.firmware, self.link.name
            why = f"{name} does not take {new}: {reject.message}"
            if reject.code == "image-signature":
                why += f"; sign it with the key by which {name} was set up"
                why += " ('unisono joint image FILE --data DIR' tells whether DIR's key signed it)"
            self._fail(reject.code, why, now)

    def _gained(self, *, is_more: bool, now: int) -> None:
        if is_more:
            self._gaps = 0
            self._stalled_us = now + STALLED_US

    # ---- how it ends ------------------------------------------------------------------------

    def _give_up_late(self, now: int) -> None:
        if self.phase.is_over:
            return
        if now >= self._until_us:
            self._late(now)
        elif self.phase.may_be_cancelled and now >= self._stalled_us:
            so_far = f"{self.feed.acked} of {self.file.header.size_bytes} bytes"
            told = f"for {STALLED_US // US} s no byte more came through to {self.link.name}"
            self._fail(UpdateTrouble.STALLED, f"{told}, which has {so_far}", now)

    def _late(self, now: int) -> None:
        name, new = self.link.name, self.file.header.firmware
        if self.phase in (P.RESTARTING, P.ON_TRIAL):
            back = f"{name} has not come back for {BACK_US // US} s after it was to restart"
            told = (
                f"{back} with {new}: which firmware runs in it is not known; {not_heard(self.link)}"
            )
            self._fail(UpdateTrouble.NOT_BACK, told, now)
        elif self._installs:
            told = f"{name} did not answer in time when it was to install {new}"
            told += "; whether it installs is not known"
            self._fail(UpdateTrouble.INSTALL_SILENT, told, now)
        elif not self.link.up:
            told = f"the stream to {name} broke, and did not come back in {AWAY_US // US} s"
            self._fail(UpdateTrouble.OFFLINE, told, now)
        else:
            told = f"{name} did not answer in time when it was to take {new}"
            self._fail(UpdateTrouble.SILENT, told, now)

    def _confirmed(self, now: int) -> None:
        told = f"{self.link.name}: {self.file.header.firmware} confirmed; it was {self.before}"
        self._end(P.DONE, Level.INFO, told, now)

    def _untold(self, welcome: Welcome, now: int) -> None:
        new = self.file.header.firmware
        told = f"{self.link.name} restarted before it said whether it installs {new}"
        told += f", and runs {welcome.firmware}; update it again"
        self._fail(UpdateTrouble.UNKNOWN, told, now)

    def _went_back(self, welcome: Welcome, now: int) -> None:
        old = welcome.firmware
        told = f"{self.link.name} went back to {old}: the new firmware did not answer"
        self._end(P.WENT_BACK, Level.ATTENTION, told, now)

    def _fail(self, code: str, why: str, now: int) -> None:
        self.code = str(code)
        self._end(P.FAILED, Level.ATTENTION, why, now)

    def _end(
        self, phase: UpdatePhase, level: Level, why: str, now: int, *, detail: bool = False
    ) -> None:
        self.phase, self.why = phase, why
        name = self.link.name
        self._outbox.note(now, level, f"update-{phase}", why, name, detail=detail)
