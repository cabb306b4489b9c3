"""`unisono simulate` gives its joints the key that signs firmware, where the folder has one."""

from pathlib import Path

import pytest

from coordinator.cli.command import run
from coordinator.config.data_folder import read_key
from coordinator.config.update_key import PUBLIC_FILE
from coordinator.conform.stream import Place, greet
from protocol.constants import STREAM_PATH
from protocol.messages import Capabilities
from simulator.joint.images import BOARD, CAPACITY
from tests.e2e.harness import Bench, bench
from tests.simulator.joint.signing import PUBLIC

HOST = "127.0.0.1"


async def capabilities(rig: Bench) -> Capabilities:
    """What a joint of `simulate` says of itself."""
    (joint,) = rig.simulate().ready["joints"]
    place = Place(HOST, joint["stream_port"], STREAM_PATH, joint["id"], read_key(rig.data))
    try:
        return (await greet(place, 7, bytes(16))).welcome.capabilities
    finally:
        await place.close_all()


async def test_joint_takes_images_where_the_folder_has_the_key(tmp_path: Path) -> None:
    with bench(tmp_path, 1) as rig:
        (rig.data / PUBLIC_FILE).write_text(PUBLIC.hex() + "\n")
        found = await capabilities(rig)
    assert (found.board, found.image_capacity) == (BOARD, CAPACITY)


async def test_joint_takes_none_where_it_has_not(tmp_path: Path) -> None:
    with bench(tmp_path, 1) as rig:
        found = await capabilities(rig)
    assert (found.board, found.image_capacity) == (None, 0)


def test_key_that_is_none_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with bench(tmp_path, 1) as rig:
        (rig.data / PUBLIC_FILE).write_text("my key\n")
        words = ["simulate", "--arm", str(rig.arm), "--data", str(rig.data)]
        assert run(words) == 2
    assert "firmware.pub holds no key of 64 hex digits" in capsys.readouterr().err
