"""A joint in C in the simulated world: its bytes, and its crystal and sensors."""

from protocol import ntp
from protocol.status import STATUS_BYTES, unpack_status
from simulator.joint.body import JointIdentity
from simulator.joint.endpoint import DISCARD_PORT, Endpoint, Reply, StreamOut
from simulator.joint.joint import Joint
from simulator.unit import JointUnit
from tests.campaign.joints_in_c.joint import JointInC


class EndpointInC(Endpoint):
    """The bytes of a joint in C."""

    def __init__(self, joint: JointInC, key: bytes, udp_port: int) -> None:
        super().__init__(joint, key, udp_port)
        self._in_c = joint
        self._nonces: dict[int, bytes] = {}
        """Of the streams that are open."""

    def datagram(self, data: bytes, receive_us: float) -> Reply | None:
        joint = self._in_c
        length, answer = joint.core.datagram(data, receive_us)
        joint.show()
        if not length:
            return None
        status = None if length == ntp.PACKET_BYTES else unpack_status(answer[:STATUS_BYTES])
        # The core seals it with a key of its own: what it needs for that stands in the key's place.
        return Reply(ntp.decode_packet(data), receive_us, status, answer)

    def stream_opened(
        self, stream_id: int, now: float, nonce: bytes, address: str = ""
    ) -> StreamOut:
        self._nonces[stream_id] = nonce
        self._in_c.core.opened(stream_id, now)
        self._in_c.show()
        return self.said()

    def stream_frame(self, stream_id: int, data: str | bytes, now: float) -> StreamOut:
        nonce = self._nonces.get(stream_id)
        if nonce is None:
            return StreamOut(close=(stream_id,))
        self._in_c.core.frame(stream_id, data, now, nonce)
        self._in_c.show()
        return self.said()

    def stream_closed(self, stream_id: int, now: float) -> None:
        self._nonces.pop(stream_id, None)
        self._in_c.core.closed(stream_id, now)
        self._in_c.show()

    def outgoing(self) -> list[tuple[int, bytes]]:
        raise AssertionError("a joint in C takes no images, so it never restarts by itself")

    def next_deadline(self) -> float | None:
        return self._in_c.next_deadline()  # by which a stream that proves nothing ends, too

    def poll(self, now: float) -> StreamOut:
        self._in_c.poll(now)
        return self.said()

    def said(self) -> StreamOut:
        """What it has said since the last call, whatever it was that made it."""
        frames, close = self._in_c.core.messages()
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

    def encode(self, reply: Reply, true_us: float) -> bytes:
        assert isinstance(self.joint, JointInC)
        return self.joint.core.seal(reply.key, self.joint_us(true_us))

    def listens_at(self, udp_port: int) -> None:
        if udp_port != DISCARD_PORT:
            raise ValueError(f"a joint in C is told its port with its boot, so not {udp_port}")
