"""Asking for joints by one question whose answers come straight back (RFC 6762 §5.1, §6.7).

On Wi-Fi a multicast frame is sent once, without being repeated, while a unicast one is repeated
until it has come through. A question from another port than 5353 is answered by unicast to where it
came from, with all records of a service at once. So of question and answer only one can get lost,
and joints that an ordinary browser misses are found.
"""

import contextlib
from collections.abc import Callable
from typing import Final

# Public by its documentation, though not by its __all__.
from zeroconf import (  # type: ignore[attr-defined]
    DNSAddress,
    DNSIncoming,
    DNSOutgoing,
    DNSPointer,
    DNSQuestion,
    DNSRecord,
    DNSService,
    DNSText,
    Error,
    ServiceInfo,
)

from coordinator.links.multicast_socket import MulticastSocket

_QUERY: Final = 0
"""Flags of a question."""
_PTR: Final = 12
_IN: Final = 1
_IPV4_BYTES: Final = 4


class Seeking(MulticastSocket):
    """Asks from one interface's address; every service that answers is told to `heard`."""

    def __init__(self, service_type: str, heard: Callable[[ServiceInfo], None]) -> None:
        super().__init__()
        self._service_type = service_type
        self._heard = heard

    def ask(self) -> None:
        """Ask once."""
        question = DNSOutgoing(_QUERY)
        asked = DNSQuestion(self._service_type, _PTR, _IN)
        # Responders may pass over a question that came a moment ago, but not one that asks for a
        # unicast answer (RFC 6762 §5.4, §7.3).
        asked.unicast = True
        question.add_question(asked)
        self.send(question)

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        """An answer, or noise."""
        for info in services(data, self._service_type):
            self._heard(info)


def services(data: bytes, service_type: str) -> list[ServiceInfo]:
    """The services of a type that a DNS message explains whole; none in noise."""
    message = DNSIncoming(data)
    if not message.valid or not message.is_response():
        return []
    records: list[DNSRecord] = message.answers()
    # Names count whatever their case (RFC 6762 §16).
    names = {one.alias.lower() for one in records if isinstance(one, DNSPointer)}
    texts = {one.key: one.text for one in records if isinstance(one, DNSText)}
    addresses = {
        one.key: one.address
        for one in reversed(records)  # the first one counts
        if isinstance(one, DNSAddress) and len(one.address) == _IPV4_BYTES
    }
    found = []
    for one in records:
        if not isinstance(one, DNSService) or one.key not in names & texts.keys():
            continue
        address = addresses.get(one.server.lower())
        with contextlib.suppress(Error):  # a name that is none of this type
            found.append(
                ServiceInfo(
                    service_type,
                    one.name,
                    port=one.port,
                    properties=texts[one.key],
                    server=one.server,
                    addresses=[address] if address else [],
                )
            )
    return found
