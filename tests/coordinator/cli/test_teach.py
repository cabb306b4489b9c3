"""`unisono teach` where the coordinator, a stand-in, tells what is rare."""

import pytest

from coordinator.cli.command import run
from tests.coordinator.cli.servers import ARM, joint, served
from tests.coordinator.client.asked import Coordinator


def test_a_waypoint_at_which_the_arm_does_not_come_to_rest_is_begun_and_not_done(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("coordinator.client.questions.going.SETTLED_S", 0.0)
    place = {"id": 3, "name": "tray", "angles_deg": {"tip": 10.0}}
    taught = {"waypoints": [place], "sequences": [], "programs": [], "revision": 1}
    silent = joint("tip", position_deg=10.0, velocity_deg_s=0.0, link="offline")
    not_known = ARM["condition"] | {"word": "not known", "cause": "tip is offline"}
    coordinator = Coordinator(
        {
            "/taught": [taught | {"undo": None, "redo": None}],
            "/arm": [ARM | {"joints": [silent], "condition": not_known}],
            "/control": [{"holder": None, "you": "me", "watchers": 0}],
            **{path: [{"phase": "idle", "holder": None}] for path in ("/go", "/jog")},
            "/control/release": [{"holder": None, "you": "me", "watchers": 0}],
        }
    )
    with served(coordinator) as url:
        assert run(["teach", "go", "tray", "--url", url]) == 1
    said = capsys.readouterr()
    assert "the arm does not surely rest, it is not known (tip is offline)" in said.err
    assert "the arm is at" not in said.out
