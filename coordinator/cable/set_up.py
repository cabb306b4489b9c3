"""A board gets keys, network and name, restarts, and has to say that it is on the network."""

import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from coordinator.cable.conversation import Conversation
from coordinator.cable.errors import CableError, Trouble
from coordinator.cable.port import Port
from protocol.cable import requests
from protocol.cable.requests import Kind, Who, Wifi, WifiReason, WifiState

RESTART_S: Final = 20.0
"""From the request until the board answers with another boot; its port may vanish meanwhile."""
JOIN_S: Final = 30.0
POLL_S: Final = 0.2
Tell = Callable[[str], None]
_AWAY: Final = frozenset({Trouble.NO_PORT, Trouble.GONE, Trouble.SILENT})
_WHY: Final = {
    WifiReason.NOT_FOUND: "no network of that name is in its reach (mind the case; many boards "
    "know 2.4 GHz alone)",
    WifiReason.PASSWORD: "the network refuses the password",
    WifiReason.NO_ADDRESS: "it has joined the network, which gives it no address (DHCP)",
    WifiReason.OTHER: "it cannot join the network, and does not know why",
}


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a board is to be told. Two of these are secrets, and in no text that is made of it."""

    ssid: bytes
    password: str = field(repr=False)
    key: bytes = field(repr=False)
    name: str
    update_key: bytes | None = None
    """The public half of the key that signs its firmware; None where it is to get none."""


def set_up(path: Path, wanted: Wanted, tell: Tell) -> Wifi:
    """Set all, restart, and wait until the board is on its network. Raises CableError, WireError.

    Each thing is set whole or not at all, and doing it all again does no harm, so whatever breaks
    off, begin again. The key comes first: a board of another arm is left as it was.
    """
    wifi_body = requests.wifi_body(wanted.ssid, wanted.password)
    name_body = requests.name_body(wanted.name)
    with Port(path) as port:
        board = Conversation(port)
        boot = board.who().boot
        board.do(Kind.SET_KEY, requests.key_body(wanted.key))
        tell("the key is set")
        takes_updates = _set_update_key(board, wanted.update_key, tell)
        board.do(Kind.SET_WIFI, wifi_body)
        tell(f"the network is set: {show_ssid(wanted.ssid)}")
        board.do(Kind.SET_NAME, name_body)
        tell(f"the name is set: {wanted.name}")
        _ask_to_restart(board)
    after = _restarted(path, boot)
    tell("it has restarted")
    _require_kept(path, after, wanted, takes_updates=takes_updates)
    return _joined(path, wanted, tell)


def show_ssid(ssid: bytes) -> str:
    """A network's name for people: any bytes may be one."""
    return ssid.decode("utf-8", errors="backslashreplace")


def _set_update_key(board: Conversation, key: bytes | None, tell: Tell) -> bool:
    """Whether it has that now."""
    if key is None:
        return False
    is_known = board.offer(Kind.SET_UPDATE_KEY, requests.key_body(key))
    tell(
        "the key that signs its updates is set"
        if is_known
        else "it takes no updates over the air: it does not know the key that signs them"
    )
    return is_known


def _ask_to_restart(board: Conversation) -> None:
    try:
        board.do(Kind.RESTART)
    except CableError as error:
        # By USB of its own a board takes its port with it, maybe before the answer is out.
        if error.trouble not in _AWAY:
            raise


def _restarted(path: Path, boot: int) -> Who:
    """The board, once it answers after a restart."""
    end_s = time.monotonic() + RESTART_S
    while True:
        try:
            with Port(path) as port:
                who = Conversation(port).who()
            if who.boot != boot:
                return who
        except CableError as error:
            if error.trouble not in _AWAY:
                raise
            if time.monotonic() > end_s:
                raise CableError(
                    Trouble.GONE, f"the board did not come back after its restart: {error}"
                ) from error
        if time.monotonic() > end_s:
            raise CableError(Trouble.SILENT, f"the board at {path} does not restart")
        time.sleep(POLL_S)


def _require_kept(path: Path, who: Who, wanted: Wanted, *, takes_updates: bool) -> None:
    lost = [
        what
        for what, is_there in (
            ("key", who.has_key),
            ("network", who.ssid == wanted.ssid),
            ("name", who.name == wanted.name),
            ("key that signs its updates", who.has_update_key or not takes_updates),
        )
        if not is_there
    ]
    if lost:
        raise CableError(
            Trouble.REFUSED, f"after its restart the board at {path} has lost: {', '.join(lost)}"
        )


def _joined(path: Path, wanted: Wanted, tell: Tell) -> Wifi:
    """The board's network, once it is connected. Raises CableError with why not."""
    end_s = time.monotonic() + JOIN_S
    ssid = show_ssid(wanted.ssid)
    with Port(path) as port:
        board = Conversation(port)
        while True:
            wifi = board.wifi()
            if wifi.state is WifiState.CONNECTED:
                tell(f"it is on {ssid} at {wifi.address}, {wifi.rssi_dbm} dBm")
                return wifi
            # "Not found" and the like may be a first try; a wrong password is none.
            if wifi.reason is WifiReason.PASSWORD or time.monotonic() > end_s:
                break
            time.sleep(POLL_S)
    why = _WHY.get(wifi.reason, f"it is not connected after {JOIN_S:g} s")
    raise CableError(Trouble.WIFI, f"the board at {path} is not on {ssid}: {why}")
