"""`unisono conform` as a user has it: what it prints, its exit codes, wrong input, and Ctrl-C."""

import asyncio
import contextlib
import http.server
import io
import json
import os
import re
import secrets
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import AsyncIterator, Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from coordinator.cli.command import run
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.conform.check import Outcome
from coordinator.conform.checks import CHECKS, TITLES
from simulator.port import JointPort, world_us
from tests.coordinator.conform.harness import HOST, made, target
from tests.e2e.harness import Bench, before_others, bench, until
from tests.protocol.pages import README

ROOT = Path(__file__).parents[3]


@pytest.fixture(name="rig")
def one_joint(tmp_path: Path) -> Iterator[Bench]:
    with bench(tmp_path, 1) as found:
        yield found


def words(rig: Bench, *more: str) -> list[str]:
    return ["conform", HOST, "--data", str(rig.data), "--arm", str(rig.arm), *more]


def test_every_check_has_an_id_and_a_section_of_the_page() -> None:
    assert len({check.id for check in CHECKS}) == len(CHECKS) >= 300
    headings = re.findall(r"^#+ (.+)$", README, re.MULTILINE)
    anchors = {re.sub(r"[^a-z0-9 -]", "", one.lower()).replace(" ", "-"): one for one in headings}
    for section in {check.section for check in CHECKS}:
        assert TITLES[section] == anchors[section]
    order = [headings.index(title) for title in TITLES.values()]
    assert order == sorted(order)
    assert set(TITLES) == {check.section for check in CHECKS}


def test_page_of_the_command_names_every_section_with_its_number_of_checks() -> None:
    page = (ROOT / "docs/conform.md").read_text()
    for section, title in TITLES.items():
        count = sum(check.section == section for check in CHECKS)
        moving = sum(check.section == section and check.moves for check in CHECKS)
        row = f"| [{title}](../protocol/README.md#{section}) | {count} | {moving} |"
        assert row in page, row
    assert f"There are {len(CHECKS)} checks, {sum(one.moves for one in CHECKS)} of which" in page


async def test_software_joint_passes_every_check_at_rest(tmp_path: Path) -> None:
    with before_others():
        async with target(tmp_path, may_move=False, announce=True) as (joint, _):
            results = await made(joint, [check for check in CHECKS if not check.moves])
    assert {one.id: one for one in results.values() if one.outcome is not Outcome.PASS} == {}


@contextlib.asynccontextmanager
async def restarting(flag: Path, port: JointPort) -> AsyncIterator[None]:
    """Restarts a joint as soon as a file is there."""

    async def watch() -> None:
        while True:
            if flag.exists():
                flag.unlink()
                port.unit.reboot(world_us())
            await asyncio.sleep(0.02)

    task = asyncio.create_task(watch())
    try:
        yield
    finally:
        task.cancel()


@pytest.mark.timeout(900)  # in real time, one after another
async def test_software_joint_passes_every_check_in_motion(tmp_path: Path) -> None:
    flag = tmp_path / "restart"
    with before_others():
        async with target(tmp_path, announce=True) as (joint, port), restarting(flag, port):
            joint = replace(joint, reboot_command=f"touch {flag}")
            moving = [check for check in CHECKS if check.moves]
            results = await made(joint, moving)
            # A sound joint fails where the processor is elsewhere for half a second: once more.
            failed = [one for one in moving if results[one.id].outcome is Outcome.FAIL]
            results |= await made(joint, failed)
    others = {one.id: one for one in results.values() if one.outcome is not Outcome.PASS}
    # This joint's buffer is small, so that its end is soon reached.
    assert set(others) == {"what-a-buffer-must-hold/full-frame"}, others


async def test_nothing_that_moves_is_done_unasked(tmp_path: Path) -> None:
    async with target(tmp_path, may_move=False) as (joint, port):
        results = await made(joint, CHECKS[-60:])
        assert {one.outcome for one in results.values()} == {Outcome.NOT_MADE}
        assert not port.unit.joint.energised
    assert all("--moves" in one.why for one in results.values())


def test_table_is_by_section_and_counts_what_was_not_made(
    rig: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    rig.simulate()
    assert run(words(rig, "--only", "frames/tag", "--only", "jog/moves")) == 0
    told = capsys.readouterr().out
    assert told.index("Frames") < told.index("frames/tag") < told.index("Jog\n")
    assert "2 checks: 1 pass, 0 fail, 1 not made, of which nothing is known" in told


def test_json_has_each_check_with_its_section_and_outcome(
    rig: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    rig.simulate()
    assert run(words(rig, "--json", "--only", "frames/tag")) == 0
    told = json.loads(capsys.readouterr().out)
    assert told["ok"] is True
    assert told["counts"] == {"pass": 1, "fail": 0, "not made": 0}
    (result,) = told["results"]
    assert (result["id"], result["section"], result["outcome"]) == ("frames/tag", "frames", "pass")


def test_failed_check_tells_what_was_expected_and_what_came(
    rig: Bench, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    async def nothing(*_: str) -> None:
        return None

    monkeypatch.setattr("coordinator.cli.conforming.listen", nothing)
    port = rig.simulate().ready["joints"][0]["stream_port"]
    assert run(words(rig, "--port", str(port), "--only", "discovery/announced")) == 1
    told = capsys.readouterr().out
    assert "FAIL" in told
    assert "came:     none" in told
    assert "1 checks: 0 pass, 1 fail" in told


def test_vectors_of_a_program_are_told_by_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    program = tmp_path / "program"
    answerer = f"{sys.executable} -m tests.coordinator.conform.answerer"
    program.write_text(f"#!/bin/sh\ncd {ROOT}\nexec {answerer} 'a tag'\n")
    program.chmod(0o755)
    assert run(["conform", "--vectors", str(program)]) == 1
    told = capsys.readouterr().out
    assert told.index("vectors/keys.json") < told.index("vectors/clock.json")
    assert "12 fail" in told


# ---- wrong input ----


def fails(capsys: pytest.CaptureFixture[str], arguments: list[str], code: int) -> str:
    assert run(arguments) == code
    return capsys.readouterr().err


def test_host_or_vectors_but_not_both(rig: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    assert "one of HOST and --vectors" in fails(capsys, ["conform"], 2)
    assert "one of HOST and --vectors" in fails(capsys, words(rig, "--vectors", "x"), 2)


def test_program_that_is_none_is_named(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "text"
    file.write_text("")
    assert str(file) in fails(capsys, ["conform", "--vectors", str(file)], 2)
    file.chmod(0o755)
    assert "cannot be run: Exec format error" in fails(
        capsys, ["conform", "--vectors", str(file)], 2
    )


def test_host_that_there_is_none_is_named(rig: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    arguments = words(rig)
    arguments[1] = "no-such-host.invalid"
    assert "'no-such-host.invalid'" in fails(capsys, arguments, 4)


def test_key_that_is_missing_is_asked_for(rig: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    (rig.data / "arm.key").unlink()
    assert "unisono key new" in fails(capsys, words(rig), 2)


def test_key_of_another_arm_is_told(
    rig: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rig.simulate()
    make_key(tmp_path / "other")
    arguments = words(rig)
    arguments[3] = str(tmp_path / "other")
    assert "is not by the key in" in fails(capsys, arguments, 2)


def test_joint_that_announces_nothing_is_not_found(
    rig: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    joint_id = load_arm(rig.arm).joints[0].id
    told = fails(capsys, words(rig), 4)
    assert f"no joint with id {joint_id}" in told


def test_port_that_is_closed_is_named(rig: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    with socket.socket() as taken:  # bound, and nobody listens
        taken.bind((HOST, 0))
        port = taken.getsockname()[1]
        assert f"{HOST}:{port}" in fails(capsys, words(rig, "--port", str(port)), 4)


def test_host_that_speaks_http_is_no_joint(rig: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    class Page(http.server.BaseHTTPRequestHandler):
        protocol_version = "HTTP/1.1"

        def log_message(self, *_: object) -> None:
            """Not here."""

    with http.server.HTTPServer((HOST, 0), Page) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        told = fails(capsys, words(rig, "--port", str(server.server_port)), 4)
        server.shutdown()
    assert "no joint's stream" in told


def test_host_that_speaks_something_else_is_no_joint(
    rig: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.create_server((HOST, 0)) as server:

        def greet() -> None:
            peer, _ = server.accept()
            with peer:
                peer.sendall(b"220 mail.example ready\r\n")

        threading.Thread(target=greet, daemon=True).start()
        told = fails(capsys, words(rig, "--port", str(server.getsockname()[1])), 4)
    assert "does not speak HTTP/1.1" in told


def test_joint_of_another_id_is_named(
    rig: Bench, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    port = rig.simulate().ready["joints"][0]["stream_port"]
    joint_id, other_id = load_arm(rig.arm).joints[0].id, secrets.token_hex(6)
    other = tmp_path / "other.toml"
    other.write_text(rig.arm.read_text().replace(joint_id, other_id))
    arguments = ["conform", HOST, "--data", str(rig.data), "--arm", str(other)]
    told = fails(capsys, [*arguments, "--port", str(port)], 2)
    assert joint_id in told
    assert other_id in told


def test_joint_that_the_arm_has_not_is_named(
    rig: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    assert "no joint 'knee'" in fails(capsys, words(rig, "--joint", "knee"), 2)


def test_joint_must_be_named_where_there_are_several(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with bench(tmp_path, 2) as rig:
        assert "--joint must say which" in fails(capsys, words(rig), 2)


def test_check_that_there_is_none_is_named(rig: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    assert "'jogg'" in fails(capsys, words(rig, "--only", "jogg"), 2)


def test_interface_that_is_none_is_named(rig: Bench, capsys: pytest.CaptureFixture[str]) -> None:
    assert "192.0.2.1" in fails(capsys, words(rig, "--interface", "192.0.2.1"), 2)


def test_reboot_command_that_is_none_is_named(
    rig: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    told = fails(capsys, words(rig, "--reboot-command", "no-such-command now"), 2)
    assert "no-such-command" in told


def test_motion_without_a_terminal_needs_yes(
    rig: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    told = fails(capsys, words(rig, "--moves"), 2)
    assert "give --yes" in told
    assert "Caution:" in told


def test_answer_other_than_yes_moves_nothing(
    rig: Bench, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    for said in ("no\n", "YES\n", ""):
        monkeypatch.setattr(sys, "stdin", Terminal(said))
        told = fails(capsys, words(rig, "--moves"), 5)
        assert "May turntable move? Type yes:" in told
        assert "nothing was checked" in told


def test_joint_that_another_coordinator_has_is_left_to_it(
    rig: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    rig.simulate()
    rig.serve()
    rig.until_linked()
    assert "another coordinator has this joint" in fails(capsys, words(rig), 3)


def test_ctrl_c_stops_the_joint_first(rig: Bench) -> None:
    rig.simulate()
    popen = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "coordinator.cli",
            *words(rig, "--moves", "--yes", "--only", "homing/"),
        ],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env=dict(os.environ),
    )
    try:
        until(lambda: rig.truths("home"), "a joint that was homed")
        popen.send_signal(signal.SIGINT)
        _, errors = popen.communicate(timeout=60)
    finally:
        popen.kill()
        popen.wait()
    assert popen.returncode == 1
    assert "the joint rests, and keeps a stop latched" in errors
    assert "Traceback" not in errors


def test_lost_is_told_of_the_second_homing_also_where_the_first_is_made_for_it(
    rig: Bench, capsys: pytest.CaptureFixture[str]
) -> None:
    rig.simulate()
    assert run(words(rig, "--moves", "--yes", "--only", "homing/lost")) == 0, capsys.readouterr()
