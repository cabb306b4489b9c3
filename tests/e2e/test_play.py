"""From finding the joints to the report, with real processes; the truth log is the judge."""

import signal

import pytest

from tests.e2e.harness import Bench, program, start_skew_us, until

pytestmark = pytest.mark.joints


@pytest.mark.joints("c")
def test_six_commands_take_the_arm_from_nothing_to_a_proved_start(bench: Bench) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()

    homed = bench.ask("home")
    assert homed["state"] == "done"
    assert list(homed["joints"]) == homed["asked"] == bench.joints
    assert {line["joint"] for line in bench.truths("home")} == set(bench.joints)

    file = bench.folder / "there_and_back.nc"
    file.write_text(program(-150, -155))
    checked = bench.ask("check", str(file))
    assert (checked["arm_source"]["kind"], checked["begins"]) == ("coordinator", "here")
    done = bench.unisono("run", str(file))
    assert (done.returncode, done.stderr.splitlines()[-1]) == (0, "run 1: ended")
    assert done.stdout.count("pinch") == 1
    assert "finished" in done.stdout

    report = bench.ask("report")
    starts = bench.until_truth("start", *bench.joints)
    assert report["outcome"] == "finished"
    assert report["start"]["attempts"] >= 1
    assert start_skew_us(starts) <= report["start"]["start_skew_max_us"]
    assert [joint["name"] for joint in report["joints"]] == bench.joints
    for joint, line in zip(report["joints"], starts, strict=True):
        # The claim of each joint's instant against the truth, both raw monotonic.
        off_us = abs(joint["started_at_us"] - line["at_ns"] / 1000)
        assert off_us <= report["start"]["start_skew_max_us"]
        assert joint["start_margin_us"] > 0
        assert joint["clock_uncertainty_us"] > 0
        assert joint["finished_at_us"] > joint["started_at_us"]
    assert bench.ask("report", "1") == report


@pytest.mark.joints("mixed")
def test_hold_rests_on_the_path_and_resume_goes_on(bench: Bench) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()
    bench.home()
    run = bench.play(program(-80, feed=900))
    bench.until_moving()

    held = bench.ask("hold")
    condition = held["condition"]
    assert (condition["word"], condition["cause"]) == ("held", "the operator asked")
    assert run.popen.wait(30) == 1  # its run was held
    rests = bench.until_truth("hold", *bench.joints)
    assert len({line["path_us"] for line in rests}) == 1
    assert bench.ask("report")["outcome"] == "held"

    bench.ask("resume")
    resumed = bench.until_truth("resume", *bench.joints)
    bench.until_truth("finish", *bench.joints)
    report = until(lambda: (r := bench.newest_report()) and r["ended_at_us"] and r, "the end")
    assert report["outcome"] == "finished"
    assert len(report["starts"]) == 2
    assert start_skew_us(resumed) <= report["starts"][1]["start_skew_max_us"]


def test_ctrl_c_on_run_holds_and_twice_stops(bench: Bench) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()
    bench.home()
    run = bench.play(program(-80, feed=900))
    bench.until_moving()
    run.popen.send_signal(signal.SIGINT)
    assert run.popen.wait(30) == 1
    assert "'unisono resume' goes on, 'unisono stop' ends the run" in run.errors()
    bench.until_truth("hold", *bench.joints)

    bench.ask("stop")
    assert bench.ask("report")["outcome"] == "stopped"
    again = bench.play(program(-20, feed=900))
    bench.until_moving()
    again.popen.send_signal(signal.SIGINT)
    until(lambda: bench.arm_now()["phase"] == "holding", "the hold that it asked for")
    again.popen.send_signal(signal.SIGINT)
    assert again.popen.wait(30) == 1
    assert bench.ask("report")["outcome"] == "stopped"


@pytest.mark.joints("c")
def test_stop_ends_the_run_off_the_path(bench: Bench) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()
    bench.home()
    run = bench.play(program(-80, feed=900))
    bench.until_moving()
    bench.ask("stop", "--level", "stop-and-release")
    assert run.popen.wait(30) == 1
    bench.until_truth("stop", *bench.joints)
    assert bench.ask("report")["outcome"] == "stopped"
    for name in bench.joints:
        assert bench.until_joint(name, energised=False, homed=False)["stop"] == 2


def test_ended_coordinator_holds_first_and_joints_say_goodbye(bench: Bench) -> None:
    joints = bench.simulate()
    coordinator = bench.serve()
    bench.until_linked()
    bench.home()
    run = bench.play(program(-80, feed=900))
    bench.until_moving()
    assert coordinator.end() == 0
    assert run.popen.wait(30) in (1, 4)  # it saw the hold, or came too late
    assert "resume" not in run.errors()
    rests = bench.until_truth("hold", *bench.joints)
    assert len({line["path_us"] for line in rests}) == 1

    bench.serve()
    bench.until_linked()
    assert joints.end(signal.SIGINT) == 0
    for name in bench.joints:
        bench.until_joint(name, link="offline")
    assert bench.ask("report")["outcome"] in ("held", "lost")
