"""Joints that announce themselves by DNS-SD (RFC 6763) over multicast DNS (RFC 6762)."""

import asyncio
import logging
from collections.abc import Callable
from typing import Final

from zeroconf import (
    DNSQuestionType,
    Error,
    IPVersion,
    ServiceInfo,
    ServiceStateChange,
    Zeroconf,
)
from zeroconf.asyncio import AsyncServiceBrowser, AsyncServiceInfo, AsyncZeroconf

from coordinator.codes.os_words import os_words
from coordinator.core.events import (
    AddressBack,
    AddressGone,
    AskByMulticast,
    AskedByMulticast,
    Event,
    Found,
    Gone,
)
from coordinator.links import address
from coordinator.links.multicast_questions import MulticastQuestions
from coordinator.links.names import Budget, Names
from coordinator.links.presence import ROUND_S, Presence
from coordinator.links.seeking import Seeking
from protocol.discovery import parse_txt
from protocol.errors import WireError

RESOLVE_MS: Final = 1_000
ADDRESS_S: Final = 1.0
"""Between two looks whether the host has its address: all joints are to be back within 5 s."""
WARNINGS: Final = 64
"""Announcements that are complained of; anyone on the network can make more of them."""
_logger = logging.getLogger(__name__)


class Discovery:
    """Delivers `Found` for every joint that can be resolved, again on a change, and `Gone`.

    `Silent` where there was no goodbye, and `Found` again after it. `AddressGone` when the host
    loses its address there, and `AddressBack`, upon which it joins the network anew.
    """

    def __init__(self, interface: str, service_type: str, deliver: Callable[[Event], None]) -> None:
        self._interface = interface
        self._service_type = service_type
        self._deliver = deliver
        self._names = Names(self._resolve)
        self._budget = Budget()
        self._presence = Presence(self._place, deliver)
        self._seeking = Seeking(service_type, self._answered)
        self._questions = MulticastQuestions(service_type, deliver)
        self._tasks: list[asyncio.Task[None]] = []
        self._joining = asyncio.Lock()
        self._warned: set[str] = set()
        self._zeroconf: AsyncZeroconf | None = None
        self._browser: AsyncServiceBrowser | None = None

    async def open(self) -> None:
        """Begin to browse on the interface with this IPv4 address. Raises OSError."""
        await self._join()
        loop = asyncio.get_running_loop()
        self._tasks = [
            loop.create_task(self._look_again()),
            loop.create_task(self._watch_address()),
        ]

    async def close(self) -> None:
        """Stop browsing."""
        for task in self._tasks:
            task.cancel()
        async with self._joining:
            await self._leave()

    async def refresh(self) -> None:
        """Join the multicast group anew: after a sleep the interface may have forgotten it.

        Whoever announces itself there is found anew. Where it cannot be joined, it is tried again.
        """
        async with self._joining:
            await self._leave()
            try:
                await self._join()
            except (OSError, Error) as error:
                self._warn(f"announcements on {self._interface} cannot be heard: {os_words(error)}")

    async def _join(self) -> None:
        await self._seeking.open(self._interface)
        await self._questions.open(self._interface)
        self._zeroconf = AsyncZeroconf(interfaces=[self._interface], ip_version=IPVersion.V4Only)
        self._browser = AsyncServiceBrowser(
            self._zeroconf.zeroconf, self._service_type, handlers=[self._changed]
        )

    async def _leave(self) -> None:
        self._names.close()
        self._seeking.close()
        self._questions.close()
        zeroconf, self._zeroconf = self._zeroconf, None
        browser, self._browser = self._browser, None
        if browser is not None:
            await browser.async_cancel()
        if zeroconf is not None:
            await zeroconf.async_close()

    async def _watch_address(self) -> None:
        had = True
        while True:
            await asyncio.sleep(ADDRESS_S)
            has = address.has_address(self._interface)
            if had and not has:
                self._deliver(AddressGone(self._interface))
            elif has and not had:
                self._deliver(AddressBack(self._interface))
            is_deaf = self._zeroconf is None and not self._joining.locked()
            if has and (not had or is_deaf):
                await self.refresh()
            had = has

    def seek(self) -> None:
        """Ask for joints once more, in a way that few answers get lost."""
        self._seeking.ask()

    def ask_by_multicast(self, question: AskByMulticast) -> AskedByMulticast | None:
        """Ask joints by one multicast; who was asked, and when. They answer with events."""
        return self._questions.ask(question)

    def _answered(self, info: ServiceInfo) -> None:
        found = self._read(self._instance(info.name), info)
        if found is not None:
            self._presence.begin(found.instance)
            self._deliver(found)

    async def look_again(self) -> None:
        """Ask every joint that was found once whether it is still there."""
        await self._presence.round()

    async def _look_again(self) -> None:
        while True:
            await asyncio.sleep(ROUND_S)
            await self.look_again()

    def _changed(
        self, zeroconf: Zeroconf, service_type: str, name: str, state_change: ServiceStateChange
    ) -> None:
        if state_change is ServiceStateChange.Removed:
            self._names.end(name)
            self._presence.end(self._instance(name))
            self._deliver(Gone(self._instance(name)))
        else:
            self._names.begin(name)

    async def _resolve(self, name: str) -> bool:
        """Ask once where a name is; False when it must be asked again."""
        instance = self._instance(name)
        info = await self._ask(name)
        if info is None:
            self._warn(f"{instance} announces itself but does not say where it is")
            return False
        found = self._read(instance, info)
        if found is not None:
            self._presence.begin(instance)
            self._deliver(found)
        return True

    async def _place(self, instance: str) -> Found | None:
        """Where a joint is that was found before, if it still says so."""
        info = await self._ask(f"{instance}.{self._service_type}")
        return self._read(instance, info) if info is not None else None

    async def _ask(self, name: str) -> AsyncServiceInfo | None:
        if self._zeroconf is None:
            return None
        info = AsyncServiceInfo(self._service_type, name)
        if info.load_from_cache(self._zeroconf.zeroconf):
            return info  # it was said together with the name
        if not self._budget.take(asyncio.get_running_loop().time()):
            return None
        # A multicast answer: a unicast one reaches any of several programs on one host.
        # On Wi-Fi multicasts are lost without being repeated, so it is asked for until it is gone.
        kind = DNSQuestionType.QM
        try:
            is_known = await info.async_request(self._zeroconf.zeroconf, RESOLVE_MS, kind)
        except Error:  # the network is being joined anew
            return None
        return info if is_known else None

    def _read(self, instance: str, info: ServiceInfo) -> Found | None:
        """What an announcement says; None where it is wrong."""
        addresses = info.parsed_addresses(IPVersion.V4Only)
        if not addresses or info.port is None:
            self._warn(f"{instance} announces no IPv4 address")
            return None
        try:
            announcement = parse_txt(info.decoded_properties)
        except WireError as error:
            self._warn(f"{instance} announces itself wrongly: {error.message}")
            return None
        self._questions.know(announcement.id, instance)
        return Found(instance, addresses[0], info.port, announcement)

    def _warn(self, message: str) -> None:
        """Log what is wrong with an announcement, once, and not for any number of names."""
        is_news = message not in self._warned and len(self._warned) < WARNINGS
        if is_news:
            self._warned.add(message)
        _logger.log(logging.WARNING if is_news else logging.DEBUG, "%s", message)

    def _instance(self, name: str) -> str:
        return name.removesuffix("." + self._service_type)
