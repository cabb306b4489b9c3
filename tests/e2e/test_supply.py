"""What the arm file says of the supply, felt by software joints on real sockets."""

from tests.e2e.harness import Bench, until


def test_software_joints_report_the_supply_that_the_arm_file_states(bench: Bench) -> None:
    bench.arm.write_text("source_v = 36\n" + bench.arm.read_text())
    bench.simulate()
    bench.serve()
    bench.until_linked()

    def volts() -> list[float]:
        return [joint["supply_v"] for joint in bench.states().values()]

    until(lambda: None not in volts(), "a reading of each joint")
    # Each measures by a divider that is off by 1 % at most.
    assert all(35.5 < supply_v < 36.5 for supply_v in volts())
