"""The coordinator's UDP port at its end."""

import logging

import pytest

from coordinator.links.datagrams import DatagramPort
from coordinator.links.peer import DatagramKeys, SessionKeys
from protocol.drive import Drive


async def test_a_drive_after_the_port_is_closed_goes_nowhere_and_says_nothing(
    caplog: pytest.LogCaptureFixture,
) -> None:
    port = DatagramPort(lambda _replied: None)
    await port.open("127.0.0.1")
    keys = SessionKeys(1)
    keys.current = DatagramKeys(bytes(32), bytes(32))
    port.attach("00", ("127.0.0.1", 9), keys)
    assert port.send("00", Drive(1, 1)) is not None
    port.close()
    with caplog.at_level(logging.WARNING):
        for sequence in range(2, 20):
            assert port.send("00", Drive(1, sequence)) is None
    assert caplog.records == []
