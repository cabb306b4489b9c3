"""A socket that asks by multicast, from a port of its own: answers come straight back to it."""

import asyncio
import socket
from typing import Final

# Public by its documentation, though not by its __all__.
from zeroconf import DNSOutgoing  # type: ignore[attr-defined]

GROUP: Final = ("224.0.0.251", 5353)
"""Of multicast DNS (RFC 6762 §3)."""


class MulticastSocket(asyncio.DatagramProtocol):
    """Asks from one interface's address. Whoever asks takes the answers by `datagram_received`."""

    def __init__(self) -> None:
        self._transport: asyncio.DatagramTransport | None = None
        self._failed = False

    async def open(self, interface: str) -> None:
        """Take a free port of an interface's address. Raises OSError."""
        ours = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        try:
            ours.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton(interface))
            ours.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_TTL, 255)
            ours.bind((interface, 0))
        except OSError:
            ours.close()
            raise
        loop = asyncio.get_running_loop()
        self._transport, _ = await loop.create_datagram_endpoint(lambda: self, sock=ours)

    def close(self) -> None:
        """Ask no more."""
        if self._transport is not None:
            self._transport.close()
            self._transport = None

    @property
    def is_open(self) -> bool:
        """Whether anything can be asked."""
        return self._transport is not None

    def send(self, message: DNSOutgoing) -> bool:
        """Send it once; whether it went out, as far as this computer can tell at once."""
        if self._transport is None:
            return False
        self._failed = False
        for packet in message.packets():
            self._transport.sendto(packet, GROUP)
        return not self._failed

    def error_received(self, exc: Exception) -> None:
        """The network is away just now. Of what cannot be sent this is told while it is sent."""
        self._failed = True
