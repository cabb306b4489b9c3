"""Joints that announce themselves by DNS-SD (RFC 6763) over multicast DNS (RFC 6762)."""

import asyncio
import logging
from collections.abc import Callable
from typing import Final

from zeroconf import DNSQuestionType, IPVersion, ServiceStateChange, Zeroconf
from zeroconf.asyncio import AsyncServiceBrowser, AsyncServiceInfo, AsyncZeroconf

from coordinator.core.events import Event, Found, Gone
from protocol.constants import SERVICE_TYPE
from protocol.discovery import parse_txt
from protocol.errors import WireError

RESOLVE_MS: Final = 3_000
_logger = logging.getLogger(__name__)


class Discovery:
    """Delivers `Found` for every joint that can be resolved, again on a change, and `Gone`."""

    def __init__(self, interface: str, deliver: Callable[[Event], None]) -> None:
        self._interface = interface
        self._deliver = deliver
        self._resolving: dict[str, asyncio.Task[None]] = {}
        self._zeroconf: AsyncZeroconf | None = None
        self._browser: AsyncServiceBrowser | None = None

    async def open(self) -> None:
        """Begin to browse on the interface with this IPv4 address. Raises OSError."""
        self._zeroconf = AsyncZeroconf(interfaces=[self._interface], ip_version=IPVersion.V4Only)
        self._browser = AsyncServiceBrowser(
            self._zeroconf.zeroconf, SERVICE_TYPE, handlers=[self._changed]
        )

    async def close(self) -> None:
        """Stop browsing."""
        for task in self._resolving.values():
            task.cancel()
        if self._browser is not None:
            await self._browser.async_cancel()
        if self._zeroconf is not None:
            await self._zeroconf.async_close()

    async def refresh(self) -> None:
        """Join the multicast group anew: after a sleep the interface may have forgotten it."""
        if self._zeroconf is not None:
            await self._zeroconf.async_update_interfaces()

    def _changed(
        self, zeroconf: Zeroconf, service_type: str, name: str, state_change: ServiceStateChange
    ) -> None:
        instance = name.removesuffix("." + service_type)
        earlier = self._resolving.pop(name, None)
        if earlier is not None:
            earlier.cancel()
        if state_change is ServiceStateChange.Removed:
            self._deliver(Gone(instance))
            return
        task = asyncio.get_running_loop().create_task(self._resolve(zeroconf, name, instance))
        self._resolving[name] = task

    async def _resolve(self, zeroconf: Zeroconf, name: str, instance: str) -> None:
        info, is_new = AsyncServiceInfo(SERVICE_TYPE, name), True
        # A multicast answer: a unicast one reaches any of several programs on one host.
        # On Wi-Fi multicasts are lost without being repeated, so it is asked for until it is gone.
        while not await info.async_request(zeroconf, RESOLVE_MS, DNSQuestionType.QM):
            level = logging.WARNING if is_new else logging.DEBUG
            _logger.log(level, "%s announces itself but does not say where it is", instance)
            is_new = False
        addresses = info.parsed_addresses(IPVersion.V4Only)
        if not addresses or info.port is None:
            _logger.warning("%s announces no IPv4 address", instance)
            return
        try:
            announcement = parse_txt(info.decoded_properties)
        except WireError as error:
            _logger.warning("%s announces itself wrongly: %s", instance, error.message)
            return
        self._deliver(Found(instance, addresses[0], info.port, announcement))
