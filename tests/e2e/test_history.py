"""What joints were and did, from software joints on real sockets to the command line."""

import csv
from pathlib import Path
from typing import Any

from tests.e2e.harness import linked_bench, until


def test_what_joints_did_is_told_while_they_do_it_and_by_the_next_coordinator(
    tmp_path: Path,
) -> None:
    with linked_bench(tmp_path) as arm:
        arm.home()
        name = arm.joints[-1]

        def told() -> dict[str, Any] | None:
            found: dict[str, Any] = arm.ask("history", name)
            return found if found["wear"]["distance_deg"] > 0 and found["start_s"] else None

        found = until(told, "a batch with the homing in it")
        assert found["wear"]["starts"] > 0
        assert found["wear"]["reversals"] > 0  # homing goes over its sensor and back
        assert 0 < found["wear"]["moving_s"] < found["wear"]["on_s"]
        for gauge in ("temperature_c", "supply_v", "rtt_p99_us", "loss", "clock_uncertainty_us"):
            assert [one for one in found[gauge]["max"] if one is not None], gauge
        assert all(15 < one < 60 for one in found["temperature_c"]["mean"] if one is not None)
        assert arm.processes[-1].end() == 0  # the coordinator, which began last
        arm.serve()
        arm.until_linked()
        again: dict[str, Any] = arm.ask("history", name)
        for count in ("on_s", "moving_s", "starts", "reversals", "distance_deg"):
            assert again["wear"][count] >= found["wear"][count], count
        file = tmp_path / "joint.csv"
        written = arm.unisono("history", name, "--csv", str(file), "--points", "2000")
        assert written.returncode == 0, written.stderr
        with file.open(newline="") as text:
            rows = list(csv.DictReader(text))
        assert sum(int(row["starts"]) for row in rows) == again["wear"]["starts"]
