"""From a key to new firmware in a joint, by the commands alone and between real processes."""

import json
from pathlib import Path

from tests.e2e.harness import Bench, bench

IMAGE = bytes(range(256)) * 1500


def sign(made: Bench, *, data: Path | None = None) -> Path:
    image = made.folder / "joint.bin"
    image.write_bytes(IMAGE)
    told = made.ask(
        "joint", "sign", str(image), "--board", "software-joint", "--firmware", "1.5.0",
        "--data", str(data or made.data),
    )  # fmt: skip
    return Path(told["file"])


def test_a_joint_gets_new_firmware_that_was_signed_for_it_and_none_that_was_not(
    tmp_path: Path,
) -> None:
    with bench(tmp_path, 2) as made:
        made.ask("key", "firmware", "--data", str(made.data))
        made.simulate(network="home")
        made.serve()
        made.until_linked()
        strange = tmp_path / "strange"
        made.ask("key", "firmware", "--data", str(strange))
        done = made.unisono("joint", "update", "shoulder", str(sign(made, data=strange)))
        assert done.returncode == 1
        assert "not signed by the key" in done.stderr

        signed = sign(made)
        told = made.ask("joint", "update", "shoulder", str(signed))
        assert (told["phase"], told["firmware"]) == ("done", "1.5.0")
        states = made.states()
        assert states["shoulder"]["firmware"] == "1.5.0"
        assert states["shoulder"]["image"] == told["sha256"]
        assert states["turntable"]["image"] is None
        assert made.holder() is None

        events = made.ask("journal", "--limit", "6")
        codes = [one["code"] for one in events["events"] if "update" in one["code"]]
        assert codes == ["command-update", "update-failed", "command-update", "update-done"]

        again = made.unisono("joint", "update", "shoulder", str(signed), "--json")
        assert again.returncode == 3
        assert "runs this very image already" in json.loads(again.stdout)["errors"][0]["message"]

        made.home()
        on = made.unisono("joint", "update", "turntable", str(signed))
        assert on.returncode == 3
        assert "unisono stop --level stop-and-release --park" in on.stderr
