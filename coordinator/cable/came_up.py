"""Whether a joint that was set up announces itself on the network and proves the arm's key."""

import asyncio
import secrets
from ipaddress import IPv4Address
from typing import Final

from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidURI

from coordinator.cable.errors import CableError, Trouble
from coordinator.core.events import Event, Found
from coordinator.links.discovery import Discovery
from coordinator.links.failures import why_no_stream
from coordinator.links.knocking import KNOCK_S
from coordinator.links.opening import Opening, connection
from protocol.errors import WireError

ANNOUNCED_S: Final = 30.0
PROVED_S: Final = 15.0
ASK_S: Final = 1.0


async def came_up(
    joint_id: str,
    at: IPv4Address,
    opening: Opening,
    interface: str,
    service_type: str,
) -> str:
    """Where the joint proved itself. Nothing takes effect by that at the joint.

    `at` is the address that the board told over its cable. Raises CableError, OSError.
    """
    announced: asyncio.Queue[Found] = asyncio.Queue()

    def deliver(event: Event) -> None:
        if isinstance(event, Found) and event.announcement.id == joint_id:
            announced.put_nowait(event)

    discovery = Discovery(interface, service_type, deliver)
    await discovery.open()
    try:
        found = await _announced(announced, discovery, at, interface)
        return await _proved(found, joint_id, opening)
    finally:
        await discovery.close()


async def _announced(
    announced: asyncio.Queue[Found], discovery: Discovery, at: IPv4Address, interface: str
) -> Found:
    """Its announcement from the address that the board told: an older one may still be cached."""
    elsewhere: set[str] = set()
    try:
        async with asyncio.timeout(ANNOUNCED_S):
            while True:
                discovery.seek()
                try:
                    found = await asyncio.wait_for(announced.get(), ASK_S)
                except TimeoutError:
                    continue
                if IPv4Address(found.host) == at:
                    return found
                elsewhere.add(found.host)
    except TimeoutError:
        pass
    if elsewhere:
        raise CableError(
            Trouble.NOT_ANNOUNCED,
            f"the board is at {at}, but a joint of its id announces itself at "
            f"{', '.join(sorted(elsewhere))}: two with one id cannot be told apart",
        )
    raise CableError(
        Trouble.NOT_ANNOUNCED,
        f"the joint is on the network at {at}, but {interface} hears no announcement of it: is "
        "that another network, or one that passes no multicast? Then give its 'address' in the "
        "arm file",
    )


async def _proved(found: Found, joint_id: str, opening: Opening) -> str:
    """Ask for its proof, again while it cannot be reached: it has only just begun."""
    end_s = asyncio.get_running_loop().time() + PROVED_S
    while True:
        try:
            async with asyncio.timeout(KNOCK_S), connection(found.address) as socket:
                await opening.greet(socket, joint_id)
                return str(found.address)
        except WireError as error:
            why = error.message
            break
        except TimeoutError:
            why = f"nobody answers within {KNOCK_S:g} s"
        except (OSError, ConnectionClosed, InvalidHandshake, InvalidURI) as error:
            why = why_no_stream(error, found.address)
        if asyncio.get_running_loop().time() > end_s:
            break
        await asyncio.sleep(ASK_S)
    raise CableError(
        Trouble.NOT_PROVED, f"the joint at {found.address} does not prove the arm's key: {why}"
    )


def a_session() -> int:
    """A random number for one opening, not 0."""
    return secrets.randbelow(2**64 - 1) + 1
