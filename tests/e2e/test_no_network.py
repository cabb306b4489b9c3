"""Software joints whose network adds nothing, for those who bring one of their own."""

from tests.e2e.harness import Bench, program


def test_joints_without_a_network_of_the_simulators_home_and_play(bench: Bench) -> None:
    joints = bench.simulate(network="none")
    assert joints.ready["network"] == "none"
    bench.serve()
    bench.until_linked()
    bench.home()
    assert bench.play(program(-150)).popen.wait(60) == 0
