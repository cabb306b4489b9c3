"""Rehearsals on a cluster of two workers on loopback: the same as here, and clear errors."""

import gc
import json
import os
import socket
from collections.abc import Iterator
from concurrent.futures import CancelledError, Executor
from pathlib import Path

import pytest
from distributed import Client, LocalCluster

from coordinator.cli.command import run
from coordinator.workers import cluster as cluster_module
from coordinator.workers.cluster import ClusterError, cluster, source_digest
from coordinator.workers.processes import process_pool
from coordinator.workers.spread import spread
from tests.quick_arm import arm_text

PROGRAM = "G90 G94\nG0 A-150 B-150\nG0 A-155\nM2\n"


@pytest.fixture(scope="module", name="address")
def two_workers() -> Iterator[str]:
    with LocalCluster(
        n_workers=2, threads_per_worker=1, host="127.0.0.1", dashboard_address="127.0.0.1:0"
    ) as local:
        yield local.scheduler_address


def test_results_are_the_same_whoever_rehearses(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    program, arm = tmp_path / "tray.nc", tmp_path / "quick.toml"
    program.write_text(PROGRAM)
    arm.write_text(arm_text(2))
    said = []
    for where in ([], ["--cluster", address]):
        options = ["--arm", str(arm), "--repetitions", "5", "--network", "busy", "--json"]
        assert run(["rehearse", str(program), *options, *where]) == 0
        said.append(json.loads(capsys.readouterr().out))
        del said[-1]["took_s"], said[-1]["times_real_time"]
    assert said[0] == said[1]
    assert said[0]["rehearsals"] == 5


def test_work_is_done_by_both_workers_and_not_here(address: str) -> None:
    with cluster(address) as machines:
        found = set(spread(machines, _pid, range(200), lambda: False))
    assert len(found) == 2
    assert os.getpid() not in found


def test_a_cancel_ends_the_work_there_too(address: str) -> None:
    taken: list[int] = []
    with cluster(address) as machines:
        for result in spread(machines, _pid, range(100_000), lambda: len(taken) >= 3):
            taken.append(result)
    assert len(taken) < 100_000
    with Client(address, set_as_default=False) as client:
        assert client.submit(_pid, 1, pure=False).result(60) > 0


def test_an_address_at_which_nobody_answers_is_told_of_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster_module, "ANSWER_S", 0.5)
    program = tmp_path / "tray.nc"
    program.write_text("G0 A-10\nM2\n")
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))  # and does not listen
        address = f"tcp://127.0.0.1:{taken.getsockname()[1]}"
        code = run(["rehearse", str(program), "--arm", str(_arm(tmp_path)), "--cluster", address])
    captured = capsys.readouterr()
    assert code == 4
    arm, why = captured.err.splitlines()
    assert arm.startswith("Arm: ")
    assert f"no cluster answers at {address}" in why
    assert captured.out == ""


@pytest.mark.parametrize(
    "address",
    [
        "nonsense",
        "nowhere://x",
        "tcp://127.0.0.1:none",
        "tcp://",
        "-",
        "a b",
        "127.0.0.1:99999",
        "",
    ],
)
def test_what_is_no_address_is_told_of_in_one_line(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    program = tmp_path / "tray.nc"
    program.write_text("G0 A-10\nM2\n")
    code = run(["rehearse", str(program), "--arm", str(_arm(tmp_path)), "--cluster", address])
    gc.collect()  # what is left of a client would tell of itself
    captured = capsys.readouterr()
    assert code == 2
    arm, why = captured.err.splitlines()
    assert arm.startswith("Arm: ")
    assert f"--cluster: {address!r} is no address of a cluster's scheduler, such as tcp://" in why


def test_a_cluster_that_is_lost_meanwhile_is_told_of() -> None:
    with (
        LocalCluster(
            n_workers=1,
            protocol="tcp://",
            host="127.0.0.1",
            dashboard_address="127.0.0.1:0",
            processes=False,
        ) as local,
        pytest.raises(CancelledError),
        cluster(local.scheduler_address) as machines,
    ):
        _lose(local, machines)


def test_a_cluster_without_workers_is_told_of() -> None:
    with (
        LocalCluster(n_workers=0, host="127.0.0.1", dashboard_address="127.0.0.1:0") as local,
        pytest.raises(ClusterError, match="has no workers"),
        cluster(local.scheduler_address),
    ):
        pass


def test_a_worker_with_other_sources_is_told_of(
    address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cluster_module, "PACKAGES", ("protocol",))
    with pytest.raises(ClusterError, match="has another Unisono"), cluster(address):
        pass


def test_without_the_extra_it_says_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(cluster_module, "find_spec", lambda _name: None)
    with pytest.raises(ClusterError, match=r"unisono\[cluster\]"), cluster("tcp://127.0.0.1:1"):
        pass


def test_the_digest_is_of_every_source() -> None:
    assert source_digest() == source_digest()
    assert len(source_digest()) == 64


def test_processes_here_and_a_cluster_give_the_same(address: str) -> None:
    with process_pool(3) as here, cluster(address) as there:
        found = [sorted(spread(one, _square, range(20), lambda: False)) for one in (here, there)]
    assert found[0] == found[1] == [k * k for k in range(20)]


def _arm(folder: Path) -> Path:
    path = folder / "quick.toml"
    path.write_text(arm_text(2))
    return path


def _lose(local: LocalCluster, machines: Executor) -> None:
    for _ in spread(machines, _square, range(100_000), lambda: False):
        local.close()


def _pid(_task: int) -> int:
    return os.getpid()


def _square(value: int) -> int:
    return value * value
