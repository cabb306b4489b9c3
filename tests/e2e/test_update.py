"""From a key to new firmware in a joint, by the commands alone and between real processes."""

import os
from pathlib import Path

import pytest

from coordinator.client import Client
from coordinator.codes.update_phase import UpdatePhase
from simulator.joint.images import BOARD
from simulator.programs import PROGRAM_VARIABLE
from tests.e2e.harness import Bench, Kind, bench, until
from tests.simulator.joint.signing import data_of
from tests.updatable import BOARD_IN_C, NEW_IN_C, becomes

pytestmark = pytest.mark.joints("c")
SIZE = 400_000
LONG = {BOARD: 1_500_000, BOARD_IN_C: 8_000_000}
"""Bytes that are longer on their way than it takes to kill somebody meanwhile."""
LONG_S = 180.0


def board_of(made: Bench, joint: str) -> str:
    board: str = made.states()[joint]["board"]
    return board


def sign(made: Bench, board: str, *, size: int = SIZE, data: Path | None = None) -> Path:
    """Firmware for a board, of the version that `version_for` tells."""
    image = made.folder / f"{board}-{size}.bin"
    if board == BOARD_IN_C:
        program = Path(os.environ[PROGRAM_VARIABLE])
        image.write_bytes(becomes(program.with_name("joint-next"), size))
    else:
        image.write_bytes(data_of(1, size))
    signed = image.with_suffix(".signed" if data is None else ".strange")
    made.ask(
        "joint", "sign", str(image), "--board", board, "--firmware", version_for(board),
        "--data", str(data or made.data), "--output", str(signed),
    )  # fmt: skip
    return signed


def version_for(board: str) -> str:
    return NEW_IN_C if board == BOARD_IN_C else "1.5.0"


def test_a_joint_gets_new_firmware_that_was_signed_for_it_and_none_that_was_not(
    tmp_path: Path, kind: Kind
) -> None:
    with bench(tmp_path, 2, kind=kind) as made:
        made.ask("key", "firmware", "--data", str(made.data))
        made.simulate(network="home")
        made.serve()
        made.until_linked()
        board = board_of(made, "shoulder")
        assert board == (BOARD if kind == "python" else BOARD_IN_C)
        strange = tmp_path / "strange"
        made.ask("key", "firmware", "--data", str(strange))
        done = made.unisono("joint", "update", "shoulder", str(sign(made, board, data=strange)))
        assert done.returncode == 1
        assert "not signed by the key" in done.stderr
        elsewhere = sign(made, "bench-esp32c3")
        done = made.unisono("joint", "update", "shoulder", str(elsewhere))
        assert done.returncode == 2
        told = f"the image is for the board bench-esp32c3, and shoulder is a {board}"
        assert told in done.stderr

        signed = sign(made, board)
        shown = made.ask("joint", "image", str(signed), "--data", str(made.data))
        assert (shown["board"], shown["signed_by_this_key"]) == (board, True)
        told = made.ask("joint", "update", "shoulder", str(signed))
        assert (told["phase"], told["firmware"]) == ("done", version_for(board))
        states = made.states()
        assert states["shoulder"]["firmware"] == version_for(board)
        assert states["shoulder"]["image"] == told["sha256"]
        assert not states["shoulder"]["on_trial"]
        assert states["turntable"]["image"] is None
        assert made.holder() is None

        events = made.ask("journal", "--limit", "6")
        codes = [one["code"] for one in events["events"] if "update" in one["code"]]
        assert codes == ["command-update", "update-failed", "command-update", "update-done"]

        again = made.unisono("joint", "update", "shoulder", str(signed), "--json")
        assert again.returncode == 3
        assert "runs this very image already" in again.stdout

        made.home()
        other = sign(made, board_of(made, "turntable"), size=SIZE + 1)
        on = made.unisono("joint", "update", "turntable", str(other))
        assert on.returncode == 3
        assert "unisono stop --level stop-and-release --park" in on.stderr


def test_joints_whose_power_goes_in_the_middle_of_an_update_get_it_once_they_are_there_again(
    tmp_path: Path, kind: Kind
) -> None:
    with bench(tmp_path, 2, kind=kind) as made:
        made.ask("key", "firmware", "--data", str(made.data))
        joints = made.simulate()
        made.serve()
        made.until_linked()
        board = board_of(made, "shoulder")
        signed = sign(made, board, size=LONG[board])
        with Client(made.url) as client:
            client.update("shoulder", signed.read_bytes())
            while client.updating("shoulder").sent_bytes == 0:
                pass  # looked at as often as it answers
            joints.kill()
            assert client.updating("shoulder").phase is UpdatePhase.SENDING
            until(
                lambda: "the stream to shoulder broke" in client.updating("shoulder").message,
                "the break told",
            )
            made.simulate()
            until(lambda: client.updating("shoulder").phase.is_over, "the update's end", LONG_S)
            assert client.updating("shoulder").phase is UpdatePhase.DONE
        states = made.states()
        assert states["shoulder"]["firmware"] == version_for(board)
        assert states["turntable"]["image"] is None
