"""Random treatment of a pair of joints that take firmware: whatever else happens, and updates."""

import random
from dataclasses import replace
from pathlib import Path

from protocol.clockmap import ClockMap
from protocol.constants import MAX_IMAGE_FRAME_BYTES
from protocol.drive import StopLevel
from protocol.image import ImageFrame, encode_image_frame
from simulator.joint.images import ImageStore
from tests.joint_c.treatment import KINDS, Treatment
from tests.joint_c.updating import SECRET, UPDATE_KEY, Signed, signed

BOARD = "bench"
CAPACITY = 20_000
"""Bytes of the largest image: IMAGES_CAPACITY of deploy/joint/tests/sequence_images.h."""
IMAGES = (
    *(
        signed(random.Random(size).randbytes(size), f"1.{size}", BOARD)
        for size in (1, 4_096, 9_000)
    ),
    signed(b"another board's", "2", "another"),
    signed(bytes(CAPACITY + 1), "3", BOARD),
    replace(signed(b"a stranger's", "4", BOARD), signature=SECRET.sign(b"another")),
)
"""What is announced: three that may come, and what may not."""
AMONG_OTHERS = KINDS | {"update": 4, "power": 1}
UPDATES_ALONE = {"update": 20, "power": 2, "reconnect": 2, "silence": 1, "session": 1, "crossed": 1}


class UpdateTreatment(Treatment):
    """One sequence of events, drawn from a seed. One in five joints has no key that signs."""

    def __init__(self, program: Path, seed: int, *, alone: bool = False) -> None:
        keyed = random.Random(seed).random() < 0.8
        super().__init__(program, seed, ImageStore(UPDATE_KEY, BOARD, CAPACITY) if keyed else None)
        self.kinds = UPDATES_ALONE if alone else AMONG_OTHERS

    def _power(self) -> None:
        """Power goes and comes back, or the joint has wanted that."""
        arm_us = round(self.map.to_arm(self.pair.now))
        self.pair.restart()
        self.map = ClockMap(1, arm_us, self.pair.now, 20_000)
        self.keys, self.stream = None, 0
        if self.random.random() < 0.9:
            self.connect()

    def _update(self) -> None:
        """An update, or some of it, and what may befall it."""
        draw, pair = self.random, self.pair
        if pair.streams.get(self.stream) is None:
            self.connect()
        if draw.random() < 0.9:
            self.drive(stop=StopLevel.RELEASE, energise=False)
        image = draw.choice(IMAGES)
        what = {"announce": 20, "rest": 60, "part": 30, "wrong": 10, "install": 30, "asked": 10}
        what |= {"fails": 7, "drive": 3, "power": 2, "broken": 5, "over": 1}
        self._announce(image)
        for _ in range(draw.randrange(1, 8)):
            self._bit_of_an_update(draw.choices(list(what), list(what.values()))[0], image)
            if pair.joint.restarts and draw.random() < 0.9:
                self._power()
                if draw.random() < 0.2:
                    pair.store(fails=True)  # a drive that cannot be noted is none
                if draw.random() < 0.1:
                    self._bit_of_an_update("over", image)
                if draw.random() < 0.7:
                    self.drive(energise=False)
        pair.store(fails=False)

    def _announce(self, image: Signed) -> None:
        body = image.update
        if self.random.random() < 0.1:
            forged = bytearray(image.signature)
            forged[self.random.randrange(64)] ^= 1 << self.random.randrange(8)
            body = replace(image, signature=bytes(forged)).update
        self.body(body)

    def _bit_of_an_update(self, what: str, image: Signed) -> None:
        draw, pair = self.random, self.pair
        size = len(image.data)
        if what == "announce":
            self._announce(draw.choice(IMAGES))
        elif what == "asked":
            self._announce(image)
        elif what == "rest":
            for at in range(0, size, MAX_IMAGE_FRAME_BYTES):
                self._part(image, at, MAX_IMAGE_FRAME_BYTES)
        elif what == "part":
            at = draw.choice((0, 0, draw.randrange(min(size, 2_048)), draw.randrange(size + 2)))
            self._part(image, at, draw.choice((1, 7, 2_047, 2_048)))
        elif what == "wrong":
            self._part(replace(image, data=bytes(size)), 0, 2_048)
        elif what == "broken":
            body = bytearray(encode_image_frame(ImageFrame(0, image.data[:9])))
            body[draw.randrange(1, len(body))] ^= 1 << draw.randrange(8)
            self.body(bytes(body)[: draw.choice((1, 9, 12, 13, 99))])
        elif what == "install":
            self.request({"type": "install"})
        elif what == "fails":
            pair.store(fails=draw.random() < 0.7)
        elif what == "drive":
            self.drive(energise=draw.random() < 0.3)
        elif what == "over":
            self.wait(119_000_000 if draw.random() < 0.5 else 121_000_000)
            pair.poll()
        else:
            self._power()

    def _part(self, image: Signed, at: int, count: int) -> None:
        data = image.data[at : at + count] or b"?"
        self.body(encode_image_frame(ImageFrame(at, data)))
