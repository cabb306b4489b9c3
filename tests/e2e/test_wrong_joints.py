"""Joints that are not what the arm file says: strangers, doubles, and another key."""

import pytest

from coordinator.config.settings import SERVICE_VARIABLE
from tests.e2e.harness import Bench, program, until


def test_unknown_joint_is_named_and_left_alone(bench: Bench) -> None:
    stranger_arm = bench.folder / "stranger.toml"
    stranger_arm.write_text(bench.arm.read_text().replace('id = "', 'id = "f', 1))
    text = bench.arm.read_text()
    first = text.index('id = "') + len('id = "')
    stranger_id = "00" + text[first + 2 : first + 12]
    stranger_arm.write_text(text[:first] + stranger_id + text[first + 12 :])
    bench.simulate("turntable", arm=stranger_arm)
    bench.simulate("shoulder", "elbow")
    bench.serve()

    until(
        lambda: stranger_id in {found["id"] for found in bench.arm_now()["unknown"]},
        "the stranger seen",
    )
    bench.until_joint("shoulder", link="up")
    shown = bench.unisono("joints")
    assert f"turntable-{stranger_id}" in shown.stdout
    assert "which is not in the arm file" in shown.stdout
    assert bench.states()["turntable"]["link"] == "offline"

    refused = bench.unisono("home")
    assert refused.returncode == 3
    assert refused.stderr.startswith("unisono: turntable is offline")
    assert len(refused.stderr.splitlines()) == 1
    assert bench.truths() == []


@pytest.mark.parametrize("says_goodbye", [True, False])
def test_two_joints_that_prove_one_id_are_not_moved_until_one_is_gone(
    bench: Bench, says_goodbye: bool
) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()
    double = bench.simulate("elbow", seed=9)

    joint = bench.until_joint("elbow", link="conflict")
    assert joint["id"] in joint["link_message"]
    refused = bench.unisono("home")
    assert refused.returncode == 3
    assert "2 joints prove id" in refused.stderr
    assert len(refused.stderr.splitlines()) == 1

    if says_goodbye:
        assert double.end() == 0
    else:
        double.kill()
    bench.until_joint("elbow", link="up")
    assert bench.ask("home")["state"] == "done"


def test_joints_with_another_key_are_refused_by_name(bench: Bench) -> None:
    other = bench.folder / "other"
    bench.ask("key", "new", "--data", str(other))
    bench.simulate("turntable", "shoulder")
    bench.simulate("elbow", data=other)
    bench.serve()
    why = "it does not hold this arm's key"
    bench.until_joint("elbow", link="offline", link_message=why)
    bench.until_joint("turntable", link="up")

    refused = bench.unisono("home")
    assert refused.returncode == 3
    assert refused.stderr == f"unisono: elbow is offline: {why}\n"
    assert bench.truths() == []


def test_play_is_refused_while_unhomed_and_while_running(bench: Bench) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()
    file = bench.folder / "p.nc"
    file.write_text(program(-100))
    refused = bench.unisono("run", str(file))
    assert (refused.returncode, refused.stderr) == (
        3,
        "unisono: turntable is not homed; home it first\n",
    )
    assert bench.truths() == []

    bench.home()
    bench.play(program(-100, feed=300))
    bench.until_moving()
    refused = bench.unisono("run", str(file))
    assert refused.returncode == 3
    assert refused.stderr == "unisono: run 1 is moving: play must wait for its end; stop ends it\n"
    refused = bench.unisono("home")
    assert refused.returncode == 3
    assert "homing must wait" in refused.stderr


def test_program_out_of_range_moves_nothing_and_names_line_joint_limit_and_value(
    bench: Bench,
) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()
    bench.home()
    before = len(bench.truths())
    file = bench.folder / "p.nc"
    file.write_text("G0 A-150 B-150\nG0 C171.5\nM2\n")
    refused = bench.unisono("run", str(file))
    assert refused.returncode == 2
    line = f"unisono: {file}:2:4: elbow would go to 171.5°, beyond its limit of 170°"
    assert refused.stderr.startswith(line)
    assert len(bench.truths()) == before


def test_joints_that_no_multicast_reaches_are_found_by_the_addresses_of_the_arm_file(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The coordinator looks for another service than they announce: it hears none of them."""
    joints = bench.simulate().ready["joints"]
    text = bench.arm.read_text()
    for joint in joints:
        given = f'id = "{joint["id"]}"'
        text = text.replace(given, f'{given}\naddress = "127.0.0.1:{joint["stream_port"]}"')
    bench.arm.write_text(text)
    monkeypatch.setenv(SERVICE_VARIABLE, "nobody-here")
    bench.serve()
    bench.until_linked()
    assert bench.ask("home")["state"] == "done"
