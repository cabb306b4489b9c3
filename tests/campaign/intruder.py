"""A peer on the network that does not hold the arm's key and tries all the same."""

from collections import deque
from random import Random

from coordinator.links.peer import Handshake
from coordinator.rehearsal.joint_node import Node
from coordinator.rehearsal.world import COORDINATOR_ID, World
from protocol.drive import REQUEST_BYTES, Drive, Mode, StopLevel, encode_drive
from protocol.keys import NONCE_BYTES
from simulator.joint.endpoint import StreamOut
from tests.campaign.judge import Judge

EVERY_US = 150_000
KEPT = 8
STREAM = 1_000_000
"""Numbers of the intruder's streams begin here, beyond those of the laptops."""


class Intruder:
    """Repeats what it overheard, sends noise and drives of its own, and shakes hands falsely."""

    def __init__(self, world: World, judge: Judge, seed: int) -> None:
        self.world = world
        self.judge = judge
        self._random = Random(f"intruder {seed}")
        self._heard: dict[str, deque[bytes]] = {one: deque(maxlen=KEPT) for one in world.nodes}
        self._stream = STREAM
        self.tries = 0
        world.at(world.now + EVERY_US, self._try)

    def overhear(self, joint_id: str, message: object) -> None:
        """Something passed by on its way to a joint; drives to one that is on are worth keeping."""
        if not self.world.nodes[joint_id].alive or not isinstance(message, bytes):
            return
        if len(message) == REQUEST_BYTES:
            self._heard[joint_id].append(message)

    def _try(self) -> None:
        for node in self.world.nodes.values():
            if node.alive:
                self._attack(node)
        self.world.at(self.world.now + EVERY_US, self._try)

    def _attack(self, node: Node) -> None:
        self.tries += 1
        draw, heard = self._random, self._heard[node.id]
        kind = draw.randrange(4)
        if kind == 0 and heard:
            self._datagram(node, draw.choice(heard), "a repeated drive")
        elif kind == 1 and heard:
            old = bytearray(draw.choice(heard))
            old[draw.randrange(48, len(old))] ^= 1 << draw.randrange(8)
            self._datagram(node, bytes(old), "a changed drive")
        elif kind == 2:
            session = node.unit.joint.session or 0
            mine = Drive(session, 2**31, Mode.JOG, True, StopLevel.NONE, jog_velocity=10_000)
            self._datagram(node, encode_drive(mine, 1, bytes(32)), "a drive of its own")
            self._datagram(node, draw.randbytes(REQUEST_BYTES), "noise")
        else:
            self._shake_hands(node)

    def _datagram(self, node: Node, data: bytes, what: str) -> None:
        reply = node.unit.datagram(data, self.world.now)
        self.judge.forged(node.id, what, taken=reply is not None and reply.status is not None)
        node.touched()

    def _shake_hands(self, node: Node) -> None:
        """A handshake by another key; the joint's session must stay what it was."""
        joint, now, draw = node.unit.joint, self.world.now, self._random
        before = joint.session, joint.configuration_digest
        self._stream += 1
        # In the name of the laptop and session in force, or the joint turns it away before a proof.
        session = joint.session or draw.getrandbits(64)
        hand = Handshake(bytes(32), node.id, COORDINATOR_ID, session, draw.randbytes(32))
        node.unit.stream_opened(self._stream, now, draw.randbytes(NONCE_BYTES))
        node.unit.stream_frame(self._stream, hand.hello(), now)
        proof = '{"type":"proof","proof":"' + draw.randbytes(32).hex() + '"}'
        out: StreamOut = node.unit.stream_frame(self._stream, proof, now)
        taken = self._stream not in out.close
        self.judge.forged(node.id, "a false proof", taken=taken)
        after = joint.session, joint.configuration_digest
        self.judge.forged(node.id, "a change of session", taken=before != after)
        node.touched()
