"""What a name may stand for that is no port, and what becomes of one that is."""

import errno
import os
from pathlib import Path

import pytest

from coordinator.cable.errors import CableError, Trouble
from coordinator.cable.port import Port
from coordinator.cable.ports import FoundPort, find_ports
from tests.coordinator.cable.boards import cable


def trouble_at(path: Path) -> tuple[Trouble, str]:
    with pytest.raises(CableError) as caught:
        Port(path)
    return caught.value.trouble, str(caught.value)


def test_port_that_is_not_there_is_named(tmp_path: Path) -> None:
    trouble, sentence = trouble_at(tmp_path / "ttyACM7")
    assert trouble is Trouble.NO_PORT
    assert sentence.startswith(f"there is no {tmp_path / 'ttyACM7'}; 'unisono joint list'")


@pytest.mark.parametrize("kind", ["file", "folder", "pipe", "null"])
def test_what_is_no_serial_port_is_refused_and_not_waited_for(tmp_path: Path, kind: str) -> None:
    path = tmp_path / kind
    match kind:
        case "file":
            path.write_text("not a port")
        case "folder":
            path.mkdir()
        case "pipe":
            os.mkfifo(path)
        case "null":
            path = Path(os.devnull)
    trouble, sentence = trouble_at(path)
    assert trouble is Trouble.NO_PORT
    assert f"{path} is no serial port" in sentence


def test_port_that_others_may_not_open_is_told_with_the_group(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def denied(*args: object) -> int:
        raise PermissionError(errno.EACCES, "Permission denied")

    with cable(lambda data: b"") as path:
        monkeypatch.setattr(os, "open", denied)
        trouble, sentence = trouble_at(path)
        monkeypatch.undo()
    assert trouble is Trouble.NO_PORT
    assert "dialout" in sentence


def test_port_is_for_one_program_at_a_time() -> None:
    with cable(lambda data: b"") as path:
        with Port(path):
            trouble, sentence = trouble_at(path)
        assert trouble is Trouble.BUSY
        assert "another program is using" in sentence
        with Port(path):  # free again
            pass


def test_bytes_pass_as_they_are() -> None:
    every = bytes(range(256))
    with cable(lambda data: data) as path, Port(path) as port:
        port.write(every)
        came = b""
        while len(came) < len(every):
            came += port.read(10)
        assert came == every
        assert port.read(0.01) == b""


def test_cable_that_is_pulled_is_told_as_that() -> None:
    def pulled(data: bytes) -> bytes:
        raise EOFError

    with cable(pulled) as path, Port(path) as port:
        port.write(b"hello")
        with pytest.raises(CableError, match="the cable was pulled") as caught:
            port.read(10)
    assert caught.value.trouble is Trouble.GONE


def test_ports_are_those_with_a_device_and_tell_what_usb_says_of_them(tmp_path: Path) -> None:
    usb = tmp_path / "devices" / "usb1" / "1-4"
    (usb / "1-4:1.0" / "tty" / "ttyACM0").mkdir(parents=True)
    for name, text in (
        ("idVendor", "303a\n"), ("idProduct", "1001\n"),
        ("product", "USB JTAG/serial debug unit\n"), ("serial", "AA:BB\n"),
    ):  # fmt: skip
        (usb / name).write_text(text)
    (tmp_path / "devices" / "plain").mkdir()
    ttys = tmp_path / "tty"
    for name, device in (
        ("ttyACM0", usb / "1-4:1.0"), ("ttyAMA0", tmp_path / "devices" / "plain"),
        ("ttyS0", tmp_path / "devices" / "plain"), ("tty1", None),
    ):  # fmt: skip
        (ttys / name).mkdir(parents=True)
        if device is not None:
            (ttys / name / "device").symlink_to(device)
    assert find_ports(ttys) == [
        FoundPort("/dev/ttyACM0", "USB JTAG/serial debug unit", "AA:BB", "303a:1001"),
        FoundPort("/dev/ttyAMA0", "", "", ""),
    ]
    assert find_ports(tmp_path / "nowhere") == []
