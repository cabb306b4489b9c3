"""The opening of one stream: hello, welcome, proof (design section 10)."""

from dataclasses import dataclass

from protocol.constants import HANDSHAKE_TIMEOUT_US, PROTOCOL_VERSION
from protocol.errors import HandshakeError
from protocol.keys import Direction, Transcript, proof, same
from protocol.messages import Capabilities, Hello, Proof, Welcome, decode_opening_to_joint
from simulator.joint.joint import Joint


@dataclass(frozen=True, slots=True)
class Offered:
    """What a welcome said: the transcript, and which handshake the datagram keys are from."""

    transcript: Transcript
    keyed: bytes | None


def key_nonce(keyed: Transcript | None, asked: Transcript) -> bytes | None:
    """The joint's nonce of the handshake that keys datagrams, if the session asked for has it."""
    if keyed is None or (keyed.coordinator_id, keyed.session) != (
        asked.coordinator_id,
        asked.session,
    ):
        return None
    return keyed.joint_nonce


class Handshake:
    """One stream that has not proved anything yet."""

    def __init__(self, nonce: bytes, now: float, address: str) -> None:
        self.address = address
        self.deadline_us = now + HANDSHAKE_TIMEOUT_US
        self._nonce = nonce
        self.offered: Offered | None = None

    def welcome(
        self, text: str, joint: Joint, key: bytes, keyed: Transcript | None, udp_port: int
    ) -> Welcome:
        """The answer to a hello. Raises HandshakeError or FrameError."""
        hello = decode_opening_to_joint(text)
        if not isinstance(hello, Hello):
            raise HandshakeError("handshake-order", f"{hello.type} came where hello must")
        if hello.protocol != PROTOCOL_VERSION:
            raise HandshakeError(
                "protocol-version",
                f"version {hello.protocol} is not spoken here, only {PROTOCOL_VERSION}",
            )
        transcript = Transcript(
            coordinator_nonce=bytes.fromhex(hello.nonce),
            joint_nonce=self._nonce,
            coordinator_id=bytes.fromhex(hello.coordinator),
            joint_id=bytes.fromhex(joint.identity.id),
            boot=joint.identity.boot,
            session=int(hello.session, 16),
        )
        nonce_in_force = key_nonce(keyed, transcript)
        self.offered = Offered(transcript, nonce_in_force)
        trajectory, next_index = joint.loaded if nonce_in_force else (0, 0)
        images = joint.images
        return Welcome(
            id=joint.identity.id,
            firmware=joint.identity.firmware,
            boot=joint.identity.boot,
            nonce=self._nonce.hex(),
            proof=proof(key, Direction.TO_COORDINATOR, transcript).hex(),
            udp=udp_port,
            capabilities=Capabilities(
                point_capacity=joint.point_capacity,
                max_step_rate_hz=joint.max_step_rate_hz,
                sensors=["hall", "temperature", "supply"],
                outputs=joint.output_count,
                inputs=joint.input_count,
                idle_current=joint.reduces_current,
                board=images.board if images is not None else None,
                image_capacity=images.capacity if images is not None else 0,
            ),
            configuration=joint.configuration_digest,
            keyed=nonce_in_force.hex() if nonce_in_force else None,
            trajectory=trajectory,
            next_index=next_index,
            image=images.running_sha256 if images is not None else None,
            on_trial=images is not None and images.on_trial,
        )

    def proved(self, text: str, key: bytes) -> Offered:
        """What was offered, once a proof shows the arm's key. Raises HandshakeError, FrameError."""
        message = decode_opening_to_joint(text)
        if not isinstance(message, Proof) or self.offered is None:
            raise HandshakeError("handshake-order", f"{message.type} came where proof must")
        wanted = proof(key, Direction.TO_JOINT, self.offered.transcript)
        if not same(bytes.fromhex(message.proof), wanted):
            raise HandshakeError("proof-wrong", "the proof does not show the arm's key")
        return self.offered
