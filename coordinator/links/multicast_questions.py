"""Questions by multicast whose answers are timed, for a survey of links.

Each goes out as one multicast from a port of its own, so that a joint answers it straight back by
unicast, and with its number (RFC 6762 §6.7). It asks for the address of each joint's stream, a
record that is the joint's alone: such are answered without the random delay of shared ones (§6).
"""

from collections import OrderedDict
from collections.abc import Callable
from typing import Final

# Public by its documentation, though not by its __all__.
from zeroconf import (  # type: ignore[attr-defined]
    DNSIncoming,
    DNSOutgoing,
    DNSQuestion,
    DNSService,
)

from coordinator.core.events import AnsweredMulticast, AskByMulticast, AskedByMulticast, Event
from coordinator.links.clock import arm_now_up_us, arm_now_us
from coordinator.links.multicast_socket import MulticastSocket

_QUERY: Final = 0
"""Flags of a question."""
_SRV: Final = 33
_IN: Final = 1
NAMES_KEPT: Final = 64
"""Of joints that were found; more are no arm."""


class MulticastQuestions(MulticastSocket):
    """Asks from one interface's address; answers are delivered as `AnsweredMulticast`."""

    def __init__(self, service_type: str, deliver: Callable[[Event], None]) -> None:
        super().__init__()
        self._service_type = service_type
        self._deliver = deliver
        self._names: OrderedDict[str, str] = OrderedDict()
        """The full names of joints, by their ids."""

    def know(self, joint_id: str, instance: str) -> None:
        """A joint announced itself under this name."""
        self._names[joint_id] = f"{instance}.{self._service_type}"
        self._names.move_to_end(joint_id)
        if len(self._names) > NAMES_KEPT:
            self._names.popitem(last=False)

    def ask(self, question: AskByMulticast) -> AskedByMulticast | None:
        """Ask once those whose names are known; None where nobody was asked, or it could not be
        sent.
        """
        joint_ids = tuple(one for one in question.joint_ids if one in self._names)
        if not self.is_open or not joint_ids:
            return None
        message = DNSOutgoing(_QUERY, multicast=False, id_=question.number)  # else it has no number
        for joint_id in joint_ids:
            message.add_question(DNSQuestion(self._names[joint_id], _SRV, _IN))
        at_us = arm_now_us()
        if not self.send(message):
            return None
        return AskedByMulticast(question.number, joint_ids, at_us)

    def datagram_received(self, data: bytes, addr: tuple[str, int]) -> None:
        """An answer, or noise."""
        at_us = arm_now_up_us()
        message = DNSIncoming(data)
        if not message.valid or not message.is_response():
            return
        named = {one.key for one in message.answers() if isinstance(one, DNSService)}
        for joint_id, name in self._names.items():
            if name.lower() in named:
                self._deliver(AnsweredMulticast(message.id, joint_id, at_us))
