"""Where one joint was said to be, and what was proved there.

An announcement proves nothing: anyone on the network can make one, for any id and any name, and can
say goodbye for others. So every address that is announced is knocked at, and only what answers
there with a proof of the arm's key counts. A joint tells its boot number with its proof, which
it draws anew at each boot. Two boot numbers that are proved in turn, the first again after the
second, are two joints: one that restarts never has its old number again.
"""

from dataclasses import dataclass
from typing import Final

from coordinator.core.events import StreamAddress

ADDRESSES_KEPT: Final = 8
"""Anyone can announce more; a joint has one address, and a second while it changes it."""
KNOCK_AGAIN_US: Final = 4_000_000
"""Between two knocks at one address while they are needed; a knock is given three seconds."""
KNOCKS_APART_US: Final = 100_000
"""Between two knocks for one joint: whoever announces many addresses makes few connections."""
PROOF_US: Final = 8_000_000
"""How long a proof counts as of now: one knock may be lost, the next one tells."""
FAILURES: Final = 2
"""Knocks without an answer after which a address no longer counts as one where the joint is."""


@dataclass(slots=True)
class Known:
    """One address, and what came of it."""

    instance: str = ""
    """DNS-SD name under which it was announced last, for its goodbye; empty for none."""
    fixed: bool = False
    """Given by the arm file: never forgotten."""
    news: bool = True
    """Announced, and not knocked at since."""
    left: bool = False
    """Whoever announced it said goodbye."""
    knocked_us: int | None = None
    """When a knock there was begun last."""
    tried_us: int | None = None
    """When a stream was opened there last."""
    failures: int = 0
    proved_us: int | None = None
    """When a proof came from there last."""


@dataclass(slots=True)
class _Boot:
    first_us: int
    """When the first exchange that proved it was over."""
    last_us: int
    """When the last exchange that proved it was begun."""
    address: StreamAddress


class Addresses:
    """The addresses of one joint. Times are arm time in µs."""

    def __init__(self, fixed: StreamAddress | None = None) -> None:
        self._known: dict[StreamAddress, Known] = {}
        """The one announced longest ago first."""
        self._boots: dict[int, _Boot] = {}
        self._knocked_us = -KNOCKS_APART_US
        if fixed is not None:
            self._known[fixed] = Known(fixed=True)

    def __len__(self) -> int:
        return len(self._known)

    def __contains__(self, address: StreamAddress) -> bool:
        return address in self._known

    @property
    def said_goodbye(self) -> bool:
        """Whether the joint was announced once and said goodbye everywhere."""
        return bool(self._known) and all(known.left for known in self._known.values())

    # ---- what is said -------------------------------------------------------------------

    def announced(
        self, address: StreamAddress, instance: str, in_use: StreamAddress | None
    ) -> None:
        """A joint of this id is said to be there. The newest address is always kept."""
        known = self._known.pop(address, None) or Known()
        known.instance, known.left = instance, False
        known.news = True
        self._known[address] = known
        while len(self._known) > ADDRESSES_KEPT:
            del self._known[self._least(in_use)]

    def _least(self, in_use: StreamAddress | None) -> StreamAddress:
        """The address to forget: of those where nothing was proved the one announced longest
        ago.
        """
        addresses = list(self._known)[:-1]
        spare = [one for one in addresses if one != in_use and not self._known[one].fixed]
        return min(spare, key=lambda one: (self._known[one].proved_us or -1, addresses.index(one)))

    def goodbye(self, instance: str) -> None:
        """A goodbye was heard for a name; true or not, the address stays known."""
        for known in self._known.values():
            known.left |= known.instance == instance

    # ---- what is proved -----------------------------------------------------------------

    def proved(self, address: StreamAddress, boot: int, begun_us: int, now: int) -> None:
        """A proof came from a address, in an exchange that was begun at `begun_us`."""
        known = self._known.setdefault(address, Known())
        known.left, known.failures = False, 0
        known.proved_us = now
        self.seen(address, boot, begun_us, now)

    def seen(self, address: StreamAddress, boot: int, begun_us: int, now: int) -> None:
        """Something that only the joint of this boot can say came from a address."""
        found = self._boots.get(boot)
        if found is None:
            self._boots = {
                key: one for key, one in self._boots.items() if now - one.last_us <= PROOF_US
            }
            self._boots[boot] = _Boot(now, begun_us, address)
        elif begun_us >= found.last_us:
            found.last_us, found.address = begun_us, address

    def failed(self, address: StreamAddress) -> None:
        """Nothing was proved at a address."""
        known = self._known.get(address)
        if known is not None:
            known.failures += 1

    def twins(self, now: int) -> tuple[StreamAddress, ...]:
        """Where two or more joints of this id have proved the key; empty for one or none."""
        if len(self._boots) < 2:
            return ()
        alive = [one for one in self._boots.values() if now - one.last_us <= PROOF_US]
        together = [
            one.address
            for one in alive
            if any(
                other is not one and other.first_us <= one.last_us and one.first_us <= other.last_us
                for other in alive
            )
        ]
        return tuple(sorted(together))

    def elsewhere(
        self, in_use: StreamAddress | None, boot: int | None, now: int
    ) -> StreamAddress | None:
        """Where else the joint of a boot, or any of its id for None, was proved a moment ago."""
        found = [
            (one.last_us, one.address)
            for number, one in self._boots.items()
            if boot in (None, number) and one.address != in_use and now - one.last_us <= PROOF_US
        ]
        return max(found)[1] if found else None

    # ---- what to do ---------------------------------------------------------------------

    def to_knock_at(
        self, now: int, in_use: StreamAddress | None, *, lost: bool
    ) -> StreamAddress | None:
        """Where to knock now, if anywhere: at news, and at every address while the joint is `lost`
        or there are twins.
        """
        if now - self._knocked_us < KNOCKS_APART_US:
            return None
        anew = lost or bool(self.twins(now))
        due: list[StreamAddress] = []
        for address, known in self._known.items():
            # The one in use is nearly always this very object, so that no text is compared.
            if (
                address is not in_use
                and (anew or known.news)
                and (known.knocked_us is None or now - known.knocked_us >= KNOCK_AGAIN_US)
                and address != in_use
            ):
                due.append(address)
        # What was never tried first, the newest of it before all.
        return min(due, key=self._knocked_last) if due else None

    def _knocked_last(self, address: StreamAddress) -> tuple[int, int]:
        known = self._known[address]
        return known.knocked_us or -1, -list(self._known).index(address)

    def knock(self, address: StreamAddress, now: int) -> None:
        """A knock at a address is begun."""
        self._knocked_us = now
        known = self._known[address]
        known.knocked_us, known.news = now, False

    def to_connect_to(self, now: int) -> StreamAddress | None:
        """The best address for a stream: where a proof came from last, else the one tried longest
        ago. None where there is none, or two joints prove the same id.
        """
        if not self._known or self.twins(now):
            return None
        proved = [
            (known.proved_us, address)
            for address, known in self._known.items()
            if known.proved_us is not None and known.failures < FAILURES
        ]
        if proved:
            return max(proved)[1]
        return min(self._known, key=self._tried_last)

    def _tried_last(self, address: StreamAddress) -> tuple[int, int]:
        known = self._known[address]
        return known.tried_us or -1, -list(self._known).index(address)

    def tried(self, address: StreamAddress, now: int) -> None:
        """A stream is being opened to a address."""
        self._known[address].tried_us = now
