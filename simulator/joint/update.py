"""New firmware over the stream: announced, brought, installed, tried (protocol, "Update").

A software joint has no processor of its own that an image could be for. It takes, checks, keeps and
tries one by all the rules, and what comes of it is the version that it tells.
"""

import math
from typing import Final

from protocol.constants import TRIAL_US
from protocol.errors import FrameError
from protocol.image import ImageFrame, decode_header, is_signed
from protocol.messages import Install, Update, Updating
from simulator.joint.body import Body
from simulator.joint.images import Coming, ImageStore
from simulator.joint.refusal import Refusal


class Updater:
    """The rules of one boot. Without a store it takes no images."""

    def __init__(self, body: Body, store: ImageStore | None) -> None:
        self.store = store
        self.restarts = False
        """Whether the joint wants to restart: it does nothing else any more."""
        self._body = body
        self._announced: Coming | None = None
        self._tail = b""
        """What came behind that which is kept: a power cut takes it, and so does another `update`,
        as what comes next begins where that says."""

    def request(self, message: Update | Install) -> Refusal | None:
        """One request: carried out wholly, or refused. Then nothing is changed, but that an update
        which cannot be stored and an install of what is wrong leave nothing announced.
        """
        if self.store is None:
            return Refusal("message-unknown", f"{message.type}: this joint takes no images")
        if isinstance(message, Update):
            return self._update(self.store, message)
        return self._install(self.store)

    def frame(self, frame: ImageFrame) -> Refusal | None:
        """Take a part of the image that was announced. Only for a joint that takes images."""
        refusal = self._unready()
        if refusal is not None:
            return refusal
        coming, tail = self._announced, self._tail
        if coming is None:
            return Refusal("image-gap", "no image was announced")
        here, size = len(coming.data) + len(tail), coming.described.size_bytes
        end = frame.offset + len(frame.data)
        if frame.offset > here:
            return Refusal("image-gap", f"bytes from {frame.offset} on, {here} is missing next")
        if end > size:
            return Refusal("image-gap", f"bytes up to {end}, the image has {size}")
        if end <= here:
            return None
        if self.store is None or self.store.fails:
            return _NOT_STORED
        tail += frame.data[here - frame.offset :]
        page = self.store.page_bytes
        whole = len(tail) if end == size else len(tail) // page * page
        coming.data += tail[:whole]
        self._tail = tail[whole:]
        return None

    def confirm(self) -> bool:
        """A valid drive came: what runs is confirmed before it is answered. False if it cannot."""
        store = self.store
        if store is not None and store.on_trial:
            if store.fails:
                return False
            store.confirm()
        return True

    def due_us(self) -> float:
        """Joint time at which a trial ends that nobody confirmed; never without one."""
        on_trial = self.store is not None and self.store.on_trial and not self.restarts
        return float(TRIAL_US) if on_trial else math.inf

    def give_up(self) -> None:
        """The trial's time is over: a restart brings back the image before."""
        self.restarts = True

    def _update(self, store: ImageStore, message: Update) -> Refusal | None:
        header = bytes.fromhex(message.header)
        try:
            described = decode_header(header)
        except FrameError as error:
            return Refusal(error.code, error.message)
        refusal = self._unready()
        if refusal is not None:
            return refusal
        if store.on_trial:
            return Refusal("on-trial", "the image that runs is not confirmed yet")
        if described.board != store.board:
            return Refusal(
                "image-board", f"the image is for {described.board}, this is {store.board}"
            )
        if described.size_bytes > store.capacity:
            return Refusal(
                "image-size",
                f"the image has {described.size_bytes} bytes, there is room for {store.capacity}",
            )
        if not is_signed(header, bytes.fromhex(message.signature), store.public_key):
            return Refusal(
                "image-signature", "the image is not signed by the key that the joint trusts"
            )
        coming = store.coming
        if coming is None or coming.header != header:
            coming = store.begin(header)
        self._announced, self._tail = coming, b""
        if coming is None:
            return _NOT_STORED
        self._body.emit(Updating(image=described.sha256.hex(), received=len(coming.data)))
        return None

    def _install(self, store: ImageStore) -> Refusal | None:
        refusal = self._unready()
        if refusal is not None:
            return refusal
        coming = self._announced
        if coming is None:
            return Refusal("image-missing", "no image was announced")
        here, size = len(coming.data), coming.described.size_bytes
        if here < size:
            return Refusal("image-missing", f"{here + len(self._tail)} of {size} bytes are here")
        if not coming.is_right:
            store.drop()
            self._announced = None
            return Refusal("image-wrong", "what came is not what was signed; it was dropped")
        if store.fails:
            return _NOT_STORED
        store.note()
        self.restarts = True
        return None

    def _unready(self) -> Refusal | None:
        body = self._body
        if not body.at_rest:
            return Refusal("not-at-rest", f"the joint is {body.state.word}, not at rest")
        if body.path.pending is not None:
            return Refusal("not-at-rest", "the joint has a start pending")
        if body.energised:
            return Refusal("energised", "the drivers are on")
        return None


_NOT_STORED: Final = Refusal("image-store", "the joint could not store it")
