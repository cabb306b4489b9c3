"""Firmware by both clients; the coordinator is a stand-in."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from coordinator.api.responses.arm import UPDATE, UPDATING
from coordinator.api.responses.base import plain
from coordinator.client import ClientError, Refused, UpdateFailed, WrongInput
from coordinator.codes.update_phase import UpdatePhase
from tests.coordinator.cli.servers import served
from tests.coordinator.client.asked import Coordinator, blocking, in_a_loop, told

FILE = bytes(range(256)) * 2000
PLACE = "/joints/elbow/update"
Ask = Callable[..., Any]


@pytest.fixture(name="ask", params=[blocking, in_a_loop])
def one_of_both_clients(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> Ask:
    """A client that waits for nothing as long as people do."""
    monkeypatch.setattr("coordinator.client.questions.patience.LOOK_S", 0.0)
    ask: Ask = request.param
    return ask


def test_the_file_goes_as_it_is_and_how_it_goes_is_a_value(ask: Ask) -> None:
    coordinator = Coordinator({PLACE: [plain(UPDATING)]})
    with served(coordinator) as url:
        assert ask(url, "update", "elbow", FILE) == UPDATING
        assert ask(url, "updating", "elbow") == UPDATING
        assert ask(url, "cancel_update", "elbow") == UPDATING
    assert coordinator.asked == [(PLACE, FILE), (PLACE, None), (PLACE, None)]


def test_to_wait_ends_with_the_new_firmware_or_with_what_became_of_it(ask: Ask) -> None:
    sending = replace(UPDATING, phase=UpdatePhase.SENDING)
    with served(Coordinator({PLACE: [plain(one) for one in (UPDATING, sending, UPDATE)]})) as url:
        assert ask(url, "update_and_wait", "elbow", FILE) == UPDATE
    failed = replace(
        UPDATE, phase=UpdatePhase.FAILED, code="image-signature", message="elbow does not take it"
    )
    with (
        served(Coordinator({PLACE: [plain(one) for one in (UPDATING, failed)]})) as url,
        pytest.raises(UpdateFailed, match="elbow does not take it") as error,
    ):
        ask(url, "update_and_wait", "elbow", FILE)
    assert (error.value.code, error.value.update) == ("image-signature", failed)


def test_a_word_that_is_not_known_yet_is_waited_out(ask: Ask) -> None:
    new = {**plain(UPDATING), "phase": "verifying"}
    with served(Coordinator({PLACE: [new, new, plain(UPDATE)]})) as url:
        assert ask(url, "update_and_wait", "elbow", FILE) == UPDATE


@pytest.mark.parametrize(
    ("status", "code", "kind"), [(409, "energised", Refused), (422, "image-board", WrongInput)]
)
def test_refusals_keep_their_code(
    ask: Ask, status: int, code: str, kind: type[ClientError]
) -> None:
    problem = {"type": f"urn:unisono:problem:{code}", "status": status, "detail": "no"}
    with served(Coordinator({PLACE: [told(problem, status)]})) as url, pytest.raises(kind) as error:
        ask(url, "update", "elbow", FILE)
    assert error.value.code == code


def test_a_joints_name_cannot_lead_elsewhere(ask: Ask) -> None:
    coordinator = Coordinator({"/joints/..%2Fstop%3F/update": [plain(UPDATING)]})
    with served(coordinator) as url:
        ask(url, "updating", "../stop?")
    assert coordinator.paths == ["/joints/..%2Fstop%3F/update"]
