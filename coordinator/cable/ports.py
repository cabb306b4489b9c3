"""Which serial ports this computer has: those of `/sys/class/tty` with a device behind them."""

import contextlib
from dataclasses import dataclass
from pathlib import Path
from typing import Final

_TTYS: Final = Path("/sys/class/tty")
_BUILT_IN: Final = ("ttyS", "ttyprintk")
"""Of the computer itself: no board comes by them."""
_UP: Final = 6
"""Levels from a port's device to the USB device that has it, at most."""


@dataclass(frozen=True, slots=True)
class FoundPort:
    """One port. Texts are empty where it says nothing."""

    port: str
    product: str
    serial: str
    usb: str
    """Vendor and product, 4 hex digits each, with a colon."""


def find_ports(ttys: Path = _TTYS, devices: Path = Path("/dev")) -> list[FoundPort]:
    """All of them by name."""
    names = sorted(one.name for one in ttys.glob("*") if (one / "device").exists())
    return [
        _described(ttys / name / "device", devices / name)
        for name in names
        if not name.startswith(_BUILT_IN)
    ]


def _described(device: Path, port: Path) -> FoundPort:
    place = device.resolve()
    for one in (place, *place.parents[:_UP]):
        if (one / "idVendor").is_file():
            vendor, product = _read(one / "idVendor"), _read(one / "idProduct")
            texts = _read(one / "product"), _read(one / "serial")
            return FoundPort(str(port), *texts, f"{vendor}:{product}")
    return FoundPort(str(port), "", "", "")


def _read(path: Path) -> str:
    with contextlib.suppress(OSError):
        return path.read_text("utf-8", errors="replace").strip()
    return ""
