"""The laboratory itself: what links do to frames, and that they are real hosts' frames."""

import errno
import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.e2e.harness import until
from tests.lab.frames import TCP, checksum, mac, read, reset_of, udp_frame
from tests.lab.hosts import Host, Keeping, NoLaboratoryError
from tests.lab.keeper import DEVICE
from tests.lab.switch import BROADCAST, Switch, Way

ONE = mac("02:00:00:00:00:01") + mac("02:00:00:00:00:02") + b"\x08\x00"
MULTICAST = mac("01:00:5e:00:00:fb") + ONE[6:]
TO_ALL = BROADCAST + ONE[6:]
PORT = 4000
MANY = 2000


def share_that_arrives(way: Way, frame: bytes) -> float:
    return sum(bool(way.arrivals(frame, k / 1000)) for k in range(MANY)) / MANY


def test_a_link_that_nothing_was_done_to_passes_every_frame_at_once() -> None:
    way = Way("a")
    assert way.arrivals(ONE, 5.0) == way.arrivals(MULTICAST, 5.0) == [5.0]


@given(
    st.lists(st.tuples(st.floats(0, 1), st.floats(0, 200), st.floats(0, 50), st.booleans())),
)
def test_frames_never_overtake_each_other_nor_arrive_before_they_were_sent(
    steps: list[tuple[float, float, float, bool]],
) -> None:
    way, now_s, last_s = Way("a"), 0.0, 0.0
    for wait_s, delay_ms, jitter_ms, batches in steps:
        now_s += wait_s
        way.delay_ms, way.jitter_ms, way.batch_ms = delay_ms, jitter_ms, 102.4 * batches
        (at_s,) = way.arrivals(ONE, now_s)
        assert at_s >= max(last_s, now_s)
        last_s = at_s


def test_delay_and_batch_are_as_long_as_they_say() -> None:
    way = Way("a")
    way.delay_ms = 80.0
    assert way.arrivals(ONE, 1.0) == pytest.approx([1.08])
    way.restore()
    way.batch_ms = 100.0
    assert way.arrivals(ONE, 1.21) == way.arrivals(ONE, 1.29) == pytest.approx([1.3])


def test_frames_are_lost_by_their_share_and_multicasts_by_their_own() -> None:
    way = Way("a")
    way.multicast_loss = 0.5
    assert share_that_arrives(way, ONE) == 1.0
    assert share_that_arrives(way, MULTICAST) == pytest.approx(0.5, abs=0.05)
    assert share_that_arrives(way, TO_ALL) == pytest.approx(0.5, abs=0.05)
    way.restore()
    way.loss = 0.2
    assert share_that_arrives(way, ONE) == pytest.approx(0.8, abs=0.05)


def test_blocked_multicasts_do_not_pass_but_broadcasts_do() -> None:
    way = Way("a")
    way.multicast_blocked = True
    assert (share_that_arrives(way, MULTICAST), share_that_arrives(way, TO_ALL)) == (0.0, 1.0)


def test_nothing_passes_until_a_cut_is_over_and_a_doubled_frame_comes_twice() -> None:
    way = Way("a")
    way.cut_until_s = 3.0
    assert way.arrivals(ONE, 2.9) == []
    way.duplication = 1.0
    assert way.arrivals(ONE, 3.0) == [3.0, 3.0]


def test_a_forged_datagram_reads_as_what_was_forged() -> None:
    frame = udp_frame(("10.0.0.1", 7), ("10.0.0.2", 8), b"hello", ONE[6:12], ONE[:6])
    packet = read(frame)
    assert packet is not None
    assert (packet.source, packet.target, packet.body) == (
        ("10.0.0.1", 7), ("10.0.0.2", 8), b"hello",
    )  # fmt: skip
    assert checksum(frame[14:34]) == 0  # over a header with its own checksum (RFC 1071)


@given(st.binary(max_size=80))
def test_whatever_is_no_packet_is_none(noise: bytes) -> None:
    read(noise)
    read(ONE + noise)
    read(ONE + b"\x45" + noise)


@contextmanager
def network(keeping: Keeping) -> Iterator[tuple[Switch, Host, Host, Host]]:
    """Two hosts that talk, and a third one."""
    hosts = {name: keeping.make(name, k + 1) for k, name in enumerate(("one", "two", "three"))}
    switch = Switch(hosts)
    switch.start()
    yield switch, hosts["one"], hosts["two"], hosts["three"]
    switch.close()
    assert switch.broken is None


def heard(sock: socket.socket) -> bytes:
    sock.settimeout(20)
    return sock.recv(2000)


def test_hosts_hear_each_other_through_the_switch_and_by_other_addresses(keeping: Keeping) -> None:
    with network(keeping) as (switch, one, two, _), two.socket() as server, one.socket() as client:
        server.bind(("0.0.0.0", PORT))
        client.sendto(b"hello", (two.address, PORT))
        assert heard(server) == b"hello"
        two.move("10.77.0.40")
        client.sendto(b"again", ("10.77.0.40", PORT))
        assert heard(server) == b"again"
        switch.links["two"].to_host.loss = 1.0
        client.sendto(b"lost", ("10.77.0.40", PORT))
        client.sendto(b"lost", ("10.77.0.40", PORT))
        until_idle(switch, one, "10.77.0.40")
        switch.links["two"].restore()
        client.sendto(b"back", ("10.77.0.40", PORT))
        assert heard(server) == b"back"


def until_idle(switch: Switch, host: Host, address: str) -> None:
    """Wait until what a host has sent before has reached the switch."""
    seen: list[bytes] = []
    with switch.watched(lambda _, frame: seen.append(frame)), host.socket() as out:
        out.sendto(b"last", (address, PORT + 1))
        until(lambda: any(b"last" in frame for frame in seen), "the frame seen")


def received(host: Host) -> int:
    """How many frames a host has received (proc(5), /proc/net/dev)."""
    lines = host.run("cat", "/proc/net/dev").splitlines()
    (line,) = [line for line in lines if line.strip().startswith(f"{DEVICE}:")]
    return int(line.split()[2])


def test_a_frame_to_one_host_reaches_no_other(keeping: Keeping) -> None:
    with network(keeping) as (_, one, two, three), two.socket() as server, one.socket() as client:
        server.bind(("0.0.0.0", PORT))
        client.bind(("0.0.0.0", PORT))
        for k in range(3):  # by then all have answered who has which address
            client.sendto(b"%d" % k, (two.address, PORT))
            server.sendto(heard(server), (one.address, PORT))
            heard(client)
        before = received(three), received(two)
        client.sendto(b"only", (two.address, PORT))
        assert heard(server) == b"only"
        assert (received(three), received(two)) == (before[0], before[1] + 1)


def test_a_forged_reset_ends_a_connection_that_two_hosts_have(keeping: Keeping) -> None:
    with network(keeping) as (switch, one, two, _):
        newest: list[tuple[str, bytes]] = []
        with (
            switch.watched(lambda name, frame: newest.append((name, frame))),
            two.socket(socket.SOCK_STREAM) as server,
            one.socket(socket.SOCK_STREAM) as client,
        ):
            server.bind(("0.0.0.0", PORT))
            server.listen()
            client.settimeout(20)
            client.connect((two.address, PORT))
            client.sendall(b"hello")
            accepted, _ = server.accept()
            with accepted:
                assert heard(accepted) == b"hello"
                accepted.sendall(b"hi")
                assert heard(client) == b"hi"

                def reset() -> bool:
                    packets = [(name, read(frame)) for name, frame in newest if name == "one"]
                    name, last = [one for one in packets if one[1] and one[1].protocol == TCP][-1]
                    assert last is not None
                    switch.send(name, reset_of(last))
                    return client.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR) == errno.ECONNRESET

                until(reset, "the connection reset")


def test_a_watcher_that_fails_is_told_of(keeping: Keeping) -> None:
    hosts = {"one": keeping.make("one", 1)}
    switch = Switch(hosts)

    def fail(_name: str, _frame: bytes) -> None:
        raise ValueError("no")

    with switch.watched(fail), hosts["one"].socket() as out:
        switch.start()
        out.sendto(b"hello", ("10.77.0.9", PORT))
        until(lambda: isinstance(switch.broken, ValueError), "the failure")
    switch.close()


def command(folder: Path, name: str, text: str) -> None:
    """A command that does this in place of the real one."""
    path = folder / name
    path.write_text(f"#!/bin/sh\n{text}\n")
    path.chmod(0o755)


@pytest.mark.parametrize(
    ("commands", "words"),
    [
        ({}, "needs the command unshare, which is not found: install it by 'sudo apt-get"),
        (
            {"unshare": "echo 'unshare failed: Operation not permitted' >&2; exit 1"},
            "needs user namespaces, which cannot be made here (unshare failed: Operation not",
        ),
    ],
)
def test_without_namespaces_it_says_in_a_sentence_what_is_missing_and_what_helps(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, commands: dict[str, str], words: str
) -> None:
    if commands:
        for name in ("nsenter", "ip"):
            command(tmp_path, name, "exit 1")
    for name, text in commands.items():
        command(tmp_path, name, text)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(NoLaboratoryError) as caught:
        Keeping()
    assert words in str(caught.value)
    assert "run" in str(caught.value) or "install" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("setting", "value"),
    [
        ("user.max_user_namespaces", "0"),
        ("kernel.unprivileged_userns_clone", "0"),
        ("kernel.apparmor_restrict_unprivileged_userns", "1"),
    ],
)
def test_a_setting_that_forbids_user_namespaces_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, setting: str, value: str
) -> None:
    shown = tmp_path.joinpath(*setting.split("."))
    shown.parent.mkdir()
    shown.write_text(f"{value}\n")
    monkeypatch.setattr("tests.lab.hosts.SETTINGS", tmp_path)
    for name in ("nsenter", "ip"):
        command(tmp_path, name, "exit 1")
    command(tmp_path, "unshare", "exit 1")
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(NoLaboratoryError, match=f"{setting} = {value} forbids: run 'sudo sysctl"):
        Keeping()


def test_threads_may_ask_for_sockets_at_once(keeping: Keeping) -> None:
    host = keeping.make("one", 1)
    made: list[Callable[[], None]] = []

    def ask() -> None:
        for _ in range(20):
            made.append(host.socket().close)

    threads = [threading.Thread(target=ask) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(made) == 80
    for close in made:
        close()
