"""A joint in C in the simulated world: its bytes, and its crystal and sensors."""

from dataclasses import dataclass

from protocol import ntp
from protocol.status import unpack_status
from simulator.joint.body import JointIdentity
from simulator.joint.endpoint import DISCARD_PORT, Endpoint, Reply, StreamOut
from simulator.joint.joint import Joint
from simulator.unit import JointUnit
from tests.campaign.joints_in_c.core import Core
from tests.campaign.joints_in_c.joint import JointInC


@dataclass(frozen=True, slots=True)
class ReplyInC(Reply):
    """What a joint in C answers."""

    core: Core
    length: int
    kept: bytes

    def encode(self, transmit_us: float) -> bytes:
        return self.core.seal(self.length, self.kept, transmit_us)


class EndpointInC(Endpoint):
    """The bytes of a joint in C."""

    joint: JointInC

    def __init__(self, joint: JointInC, key: bytes, udp_port: int) -> None:
        super().__init__(joint, key, udp_port)
        self._nonces: dict[int, bytes] = {}
        """Of the streams that are open."""

    def datagram(self, data: bytes, receive_us: float) -> Reply | None:
        joint = self.joint
        length, kept = joint.core.datagram(data, receive_us)
        joint.show()
        if not length:
            return None
        status = None if length == ntp.PACKET_BYTES else unpack_status(joint.core.status(kept))
        return ReplyInC(
            ntp.decode_packet(data), receive_us, status, b"", joint.core, length, kept
        )  # fmt: skip

    def stream_opened(
        self, stream_id: int, now: float, nonce: bytes, address: str = ""
    ) -> StreamOut:
        self._nonces[stream_id] = nonce
        self.joint.core.opened(stream_id, now)
        return self.said()

    def stream_frame(self, stream_id: int, data: str | bytes, now: float) -> StreamOut:
        nonce = self._nonces.get(stream_id)
        if nonce is None:
            return StreamOut(close=(stream_id,))
        self.joint.core.frame(stream_id, data, now, nonce)
        return self.said()

    def stream_closed(self, stream_id: int, now: float) -> None:
        self._nonces.pop(stream_id, None)
        self.joint.core.closed(stream_id, now)
        self.joint.show()

    def outgoing(self) -> list[tuple[int, bytes]]:
        raise NotImplementedError("what a joint in C says, it says in `said`")

    def next_deadline(self) -> float | None:
        return self.joint.next_deadline()

    def poll(self, now: float) -> StreamOut:
        self.joint.poll(now)
        return self.said()

    def said(self) -> StreamOut:
        """What it has said since the last call, whatever it was that made it."""
        self.joint.show()
        frames, close = self.joint.core.messages()
        for stream_id in close:
            self._nonces.pop(stream_id, None)
        return StreamOut(tuple(frames), tuple(close))


class UnitInC(JointUnit):
    """A joint in C, with the crystal, sensors, heat and supply of one in Python."""

    def _firmware(self, identity: JointIdentity, uptime_us: float) -> tuple[Joint, Endpoint]:
        settings = self.settings
        joint = JointInC(
            identity,
            self._key,
            self._udp_port,
            uptime_us,
            point_capacity=settings.point_capacity,
            max_step_rate_hz=settings.max_step_rate_hz,
            inputs=settings.inputs,
            outputs=settings.outputs,
            reduces_current=settings.reduces_current,
        )
        return joint, EndpointInC(joint, self._key, self._udp_port)

    def poll(self, true_us: float) -> StreamOut:
        self._enter(true_us)
        assert isinstance(self.endpoint, EndpointInC)
        out = self.endpoint.said()
        frames, close = (*self._frames, *out.frames), (*self._close, *out.close)
        self._frames, self._close = [], []
        return StreamOut(frames, close)

    def listens_at(self, udp_port: int) -> None:
        if udp_port != DISCARD_PORT:
            raise NotImplementedError("a joint in C is told its port with its boot")
