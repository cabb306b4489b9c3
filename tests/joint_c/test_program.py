"""The joint in C as a program on Linux: its command line, key file, ports and end.

What it does as a joint of an arm is tested in tests/e2e, whether it keeps to the protocol by
`unisono conform`.
"""

import contextlib
import json
import os
import random
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import ntplib
import pytest
from zeroconf import IPVersion, Zeroconf

from coordinator.cli.simulating import network_for, shared_out
from coordinator.config.data_folder import make_key
from coordinator.rehearsal.software_joints import joint_settings
from protocol.discovery import parse_txt
from simulator import programs
from tests.own import SERVICE_TYPE
from tests.quick_arm import arm_text
from tests.simulator.joints import settings

LOOPBACK = "127.0.0.1"
PATIENCE_S = 60.0


def words(key: Path, *more: str, joint: str = "0a1b2c3d4e5f") -> list[str]:
    service = SERVICE_TYPE.removesuffix(".local.")
    return ["--id", joint, "--name", "elbow", "--key", str(key), "--service", service, *more]


@contextlib.contextmanager
def running(
    program: Path, *arguments: str
) -> Iterator[tuple["subprocess.Popen[str]", dict[str, Any]]]:
    """A joint that has announced itself, and what it told; ended, and well, when this is left."""
    with subprocess.Popen([program, *arguments], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield process, json.loads(process.stdout.readline())
        finally:
            process.terminate()
            code = process.wait(PATIENCE_S)
    assert code in (0, -signal.SIGKILL)


@pytest.fixture(scope="module")
def key(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return make_key(tmp_path_factory.mktemp("data"))


def fresh_id() -> str:
    return random.SystemRandom().randbytes(6).hex()


def refused(program: Path, *arguments: str) -> str:
    """What a command line that cannot be is told: one line, and exit code 2."""
    done = subprocess.run([program, *arguments], capture_output=True, text=True, timeout=PATIENCE_S)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    return done.stderr


@pytest.mark.parametrize(
    ("mode", "text", "told"),
    [
        (0o640, "40" * 32, "is open to other users (mode 0640)"),
        (0o604, "40" * 32, "is open to other users (mode 0604)"),
        (0o600, "40" * 31, "holds no key of 64 hex digits"),
        (0o600, "40" * 31 + "4g", "holds no key of 64 hex digits"),
        (0o600, "40" * 32 + " " * 2000, "holds no key of 64 hex digits"),
    ],
)
def test_a_key_that_others_may_read_or_that_is_none_is_not_taken(
    joint_build: Path, tmp_path: Path, mode: int, text: str, told: str
) -> None:
    file = tmp_path / "arm.key"
    file.write_text(text + "\n")
    file.chmod(mode)
    assert told in refused(joint_build / "joint", *words(file))


def test_no_key_and_a_pipe_in_its_place_are_told(joint_build: Path, tmp_path: Path) -> None:
    assert "No such file" in refused(joint_build / "joint", *words(tmp_path / "arm.key"))
    os.mkfifo(tmp_path / "pipe", 0o600)
    assert "no regular file" in refused(joint_build / "joint", *words(tmp_path / "pipe"))


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--nose", "1"), "--nose is no option"),
        (("--play",), "--play needs a value"),
        (("--play", "much"), "--play is 'much', but must be a number from 0 to 1e+09"),
        (("--play", "nan"), "'nan'"),
        (("--skew-ppm", "101"), "'101', but must be a number from -100 to 100"),
        (("--inputs", "9"), "from 0 to 8"),
        (("--follows", "0:8"), "two bits from 0 to 7"),
        (("--id", "0A1B2C3D4E5F"), "12 hex digits in lower case"),
        (("--name", 'a"b'), "quotation mark"),
        (("--interface", "nose"), "must be an IPv4 address"),
        (("--home-period", "10"), "filled by the magnet"),
    ],
)
def test_what_is_wrong_on_its_command_line_is_told(
    joint_build: Path, key: Path, more: tuple[str, ...], told: str
) -> None:
    assert told in refused(joint_build / "joint", *words(key, *more))


def test_it_is_found_by_its_announcement_and_says_goodbye(joint_build: Path, key: Path) -> None:
    joint = fresh_id()
    zeroconf = Zeroconf(interfaces=[LOOPBACK], ip_version=IPVersion.V4Only)
    try:
        with running(joint_build / "joint", *words(key, joint=joint)) as (_, told):
            assert told["instance"] == f"elbow-{joint}"
            info = zeroconf.get_service_info(SERVICE_TYPE, f"elbow-{joint}.{SERVICE_TYPE}", 10_000)
            assert info is not None
            assert (info.port, info.parsed_addresses()) == (told["stream_port"], [LOOPBACK])
            announced = parse_txt(info.decoded_properties)
            assert (announced.id, announced.udp_port) == (joint, told["udp_port"])
            # Another with the same id is seen beside it, by another name.
            with running(joint_build / "joint", *words(key, joint=joint)) as (_, second):
                assert second["instance"] == f"elbow-{joint}-2"
        end = time.monotonic() + PATIENCE_S
        while zeroconf.cache.get_by_details(f"elbow-{joint}.{SERVICE_TYPE}", 33, 1) is not None:
            assert time.monotonic() < end, "no goodbye"
            time.sleep(0.05)
    finally:
        zeroconf.close()


def test_an_ntp_client_that_is_not_ours_reads_its_clock(joint_build: Path, key: Path) -> None:
    with running(joint_build / "joint", *words(key, "--uptime-us", "7000000000")) as (_, told):
        client, before = ntplib.NTPClient(), 0.0
        for _ in range(5):
            found = client.request(LOOPBACK, port=told["udp_port"], version=4, timeout=10)
            assert found.recv_timestamp <= found.tx_timestamp
            assert (
                found.tx_timestamp - found.recv_timestamp
                <= found.dest_timestamp - found.orig_timestamp
            )
            assert found.recv_timestamp >= before
            before = found.tx_timestamp


def test_noise_on_its_ports_changes_nothing(joint_build: Path, key: Path) -> None:
    draw = random.Random(5)
    with running(joint_build / "joint", *words(key)) as (_, told):
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as noise:
            for length in (0, 1, 47, 48, 49, 159, 187, 188, 189, 512, 513, 1400):
                noise.sendto(draw.randbytes(length), (LOOPBACK, told["udp_port"]))
        openings = []
        for junk in (
            b"",
            b"GET /joint HTTP/1.1\r\n",
            b"GET / HTTP/1.1\r\n\r\n",
            draw.randbytes(3000),
        ):
            openings.append(socket.create_connection((LOOPBACK, told["stream_port"]), PATIENCE_S))
            openings[-1].sendall(junk)
        for one in openings:
            one.close()
        assert ntplib.NTPClient().request(LOOPBACK, port=told["udp_port"], timeout=10) is not None


def test_with_its_parent_it_ends_as_when_power_is_lost(joint_build: Path, key: Path) -> None:
    start = (
        "import os, subprocess, sys\n"
        "joint = subprocess.Popen([*sys.argv[1:], '--with-parent', str(os.getpid())])\n"
        "print(joint.pid, flush=True)\n"
        "joint.wait()\n"
    )
    command = [sys.executable, "-c", start, str(joint_build / "joint"), *words(key)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as parent:
        assert parent.stdout is not None
        pid = int(parent.stdout.readline())
        parent.stdout.readline()  # it has announced itself
        parent.kill()
    end = time.monotonic() + PATIENCE_S
    while (
        Path(f"/proc/{pid}/stat").exists() and ") Z " not in Path(f"/proc/{pid}/stat").read_text()
    ):
        assert time.monotonic() < end, "it goes on without its parent"
        time.sleep(0.05)


def test_where_no_program_was_built_that_is_told_with_how(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv(programs.PROGRAM_VARIABLE, str(tmp_path / "joint"))
    with pytest.raises(programs.ProgramError, match="'make -C deploy/joint joint'"):
        programs.joint_program()


async def test_a_joint_that_is_to_take_firmware_and_has_no_loader_beside_it_is_not_started(
    monkeypatch: pytest.MonkeyPatch, joint_build: Path, tmp_path: Path, key: Path
) -> None:
    alone = tmp_path / "joint"
    alone.symlink_to(joint_build / "joint")
    monkeypatch.setenv(programs.PROGRAM_VARIABLE, str(alone))
    with pytest.raises(programs.ProgramError, match="there is no loader of joints in C at "):
        async with programs.programs_served(
            [settings()],
            key,
            interface=LOOPBACK,
            truth=None,
            service_type=SERVICE_TYPE,
            update_key=bytes(32),
        ):
            pass


def test_mixed_joints_are_in_python_and_in_c_turn_and_turn_about(
    monkeypatch: pytest.MonkeyPatch, joint_build: Path
) -> None:
    monkeypatch.setenv(programs.PROGRAM_VARIABLE, str(joint_build / "joint"))
    assert shared_out("abcde", "mixed") == (("a", "c", "e"), ("b", "d"))
    assert shared_out("abc", "c") == ((), ("a", "b", "c"))
    assert shared_out("abc", "python") == (("a", "b", "c"), ())


def test_only_joints_in_python_are_behind_a_simulated_network() -> None:
    assert network_for("python", None, "quiet") == network_for("mixed", None, "quiet") == "quiet"
    assert network_for("c", None, "quiet") == network_for("c", "none", "quiet") == "none"
    with pytest.raises(Exception, match="joints in C simulate no network"):
        network_for("c", "busy", "quiet")


def test_whatever_an_arm_file_says_of_a_joint_the_program_takes(
    joint_build: Path, tmp_path: Path, key: Path
) -> None:
    from coordinator.config.arm import load_arm

    file = tmp_path / "arm.toml"
    file.write_text(arm_text(6))
    for one in joint_settings(load_arm(file), 1):
        told = programs.arguments(one)
        # The last mistake of all is told alone: the others were taken.
        refusal = refused(joint_build / "joint", *told, "--key", str(tmp_path / "none"))
        assert "No such file" in refusal
