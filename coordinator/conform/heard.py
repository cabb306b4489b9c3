"""What a joint announces, read record by record (RFC 6763, RFC 6762)."""

import asyncio
import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Final

from zeroconf import DNSQuestionType, IPVersion, ServiceStateChange, Zeroconf
from zeroconf.asyncio import AsyncServiceBrowser, AsyncServiceInfo, AsyncZeroconf

from coordinator.links.seeking import Seeking

LISTEN_S: Final = 4.0


@dataclass(frozen=True, slots=True)
class Heard:
    """One announcement."""

    instance: str
    port: int
    addresses: list[str]
    pairs: list[tuple[str, str]]
    """Of the TXT record, in their order."""
    ttls_s: dict[str, int] = field(default_factory=dict)
    """By the record's type."""
    server: str = ""

    @property
    def txt(self) -> dict[str, str]:
        """The first of each key."""
        found: dict[str, str] = {}
        for key, value in self.pairs:
            found.setdefault(key.lower(), value)
        return found


def pairs_of(text: bytes) -> Iterator[tuple[str, str]]:
    """Keys and values of a TXT record's data (RFC 6763 §6.1)."""
    while text:
        size = text[0]
        key, _, value = text[1 : 1 + size].decode("utf-8", "replace").partition("=")
        text = text[1 + size :]
        if key:
            yield key, value


async def listen(interface: str, service_type: str, joint_id: str) -> Heard | None:
    """What the joint with an id announces on an interface, None where nothing is heard.

    Raises OSError.
    """
    zeroconf = AsyncZeroconf(interfaces=[interface], ip_version=IPVersion.V4Only)
    names: asyncio.Queue[str] = asyncio.Queue()

    def changed(
        zeroconf: Zeroconf, service_type: str, name: str, state_change: ServiceStateChange
    ) -> None:
        if state_change is not ServiceStateChange.Removed:
            names.put_nowait(name)

    browser = AsyncServiceBrowser(zeroconf.zeroconf, service_type, handlers=[changed])
    try:
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(LISTEN_S):
                while True:
                    found = await _resolve(zeroconf, service_type, await names.get())
                    if found is not None and found.txt.get("id") == joint_id:
                        return found
    finally:
        await browser.async_cancel()
        await zeroconf.async_close()
    return None


async def _resolve(zeroconf: AsyncZeroconf, service_type: str, name: str) -> Heard | None:
    info = AsyncServiceInfo(service_type, name)
    # A multicast answer: a unicast one reaches any of several programs on one host.
    if not await info.async_request(zeroconf.zeroconf, 2_000, DNSQuestionType.QM):
        return None
    cache, ttls_s = zeroconf.zeroconf.cache, {}
    for kind, key in (("PTR", service_type), ("SRV", name), ("TXT", name), ("A", info.server)):
        for record in cache.entries_with_name(key or ""):
            alias = getattr(record, "alias", name)
            if record.type == _TYPES[kind] and alias.lower() == name.lower():
                ttls_s[kind] = int(record.ttl)
    return Heard(
        name.removesuffix("." + service_type),
        info.port or 0,
        info.parsed_addresses(IPVersion.V4Only),
        list(pairs_of(info.text or b"")),
        ttls_s,
        info.server or "",
    )


_TYPES: Final = {"A": 1, "PTR": 12, "TXT": 16, "SRV": 33}


async def answers_one_shot(interface: str, service_type: str, instance: str) -> bool:
    """Whether a question from a port of its own is answered to there (RFC 6762 §6.7)."""
    came = asyncio.Event()
    wanted = f"{instance}.{service_type}".lower()
    seeking = Seeking(
        service_type, lambda info: came.set() if info.name.lower() == wanted else None
    )
    await seeking.open(interface)
    try:
        for _ in range(3):
            seeking.ask()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(LISTEN_S / 3):
                    await came.wait()
                    return True
        return False
    finally:
        seeking.close()
