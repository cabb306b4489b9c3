"""Which joints announce themselves on a network, for who begins an arm."""

import asyncio
from typing import Final

from coordinator.core.events import Event, Found
from coordinator.links.discovery import Discovery

LISTEN_S: Final = 6.0
"""Wi-Fi loses multicasts without repeating them: long enough to ask for joints a few times."""
ASK_S: Final = 1.0


async def joints_there(
    interface: str, service_type: str, listen_s: float = LISTEN_S
) -> tuple[Found, ...]:
    """All that announce themselves on the interface with this address, by id. Raises OSError.

    Nobody has proved anything by that: whoever is on the network can announce any id.
    """
    found: dict[tuple[str, str], Found] = {}

    def deliver(event: Event) -> None:
        if isinstance(event, Found):
            found[event.announcement.id, event.host] = event

    discovery = Discovery(interface, service_type, deliver)
    await discovery.open()
    loop = asyncio.get_running_loop()
    end_s = loop.time() + listen_s
    try:
        while (left_s := end_s - loop.time()) > 0:
            discovery.seek()
            await asyncio.sleep(min(ASK_S, left_s))
    finally:
        await discovery.close()
    return tuple(found[key] for key in sorted(found))
