"""Real processes, and a database server that goes in mid-run: it stops no run and lets none begin,
and what it confirmed is there when it is back.
"""

import json

import pytest

from coordinator.config.data_folder import make_key
from coordinator.store.postgresql import server_at
from tests.e2e.harness import Bench, program
from tests.postgres import postgres_server


def test_arm_whose_database_is_at_a_server_moves_on_without_it_and_keeps_all_that_it_confirmed(
    bench: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    with postgres_server() as server:
        url = server.make("arm")
        name = str(server_at(url))
        monkeypatch.setenv("UNISONO_DATABASE", url)
        bench.simulate()
        coordinator = bench.serve()
        bench.until_linked()
        bench.home()
        run = bench.play(program(-100, feed=300))
        bench.until_moving()
        server.stop("immediate")
        assert run.popen.wait(90) == 0, run.errors()
        lost = bench.ask("report", "1")["unwritten"]
        assert {one["why"].partition(" (")[0] for one in lost} == {
            f"{name} cannot be used: its server does not answer"
        }
        refused = bench.unisono("run", str(bench.folder / "program.nc"))
        assert refused.returncode == 3
        assert refused.stderr.startswith(f"unisono: {name} cannot be used: its server does not")

        server.start()
        again = bench.play(program(-150))
        assert again.popen.wait(90) == 0, again.errors()
        other = bench.folder / "other"
        make_key(other)
        second = bench.unisono(
            "serve", "--arm", str(bench.arm), "--data", str(other), "--port", "0", "--json"
        )
        assert second.returncode == 2
        (error,) = json.loads(second.stdout)["errors"]
        assert error["message"].startswith(f"another coordinator, process {coordinator.pid} on ")

        coordinator.kill()
        bench.serve()
        told = bench.ask("report", "2")
        assert (told["outcome"], told["name"]) == ("finished", "program.nc")
        assert not (bench.data / "unisono.db").exists()
        backup = bench.unisono(
            "backup", str(bench.folder / "b"), "--arm", str(bench.arm), "--data", str(bench.data)
        )
        assert backup.returncode == 2
        assert f"has its data in {name}, which is backed up by its own tools" in backup.stderr
