"""Every route, asked by schemathesis for all that the OpenAPI document allows and for what it does
not, with a running simulated arm: only documented answers come, and the arm lives on.

The arm is homed, has played a program and rehearsed one, so that there is something to tell.
"""

from collections.abc import Iterator
from typing import Any

import httpx2
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import positive_data_acceptance

from coordinator.api.responses.table import RESPONSES
from coordinator.client import Client
from coordinator.config.settings import API_PREFIX
from tests.e2e.harness import Bench, linked_bench, program, until

EXAMPLES = 8
"""Per route; the arm's own state makes many answers refusals, which are documented too."""
PLACES = {"number": 1, "name": "turntable"}
"""What is in a path: there is a homing, a run, a rehearsal and a sequence of that number."""
PROGRAM = 2
"""The program that is kept: no sequence has its number."""


@pytest.fixture(scope="module", name="arm")
def linked_arm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    with linked_bench(tmp_path_factory.mktemp("arm")) as made:
        made.home()
        assert made.play(program(20)).popen.wait(60) == 0
        with httpx2.Client(base_url=made.url + API_PREFIX, trust_env=False) as http:
            for revision, edit in enumerate(
                (
                    {"type": "add-sequence", "name": "one tray"},
                    {"type": "keep-program", "name": "one tray", "text": program(20)},
                )
            ):
                body = {"revision": revision, "edit": edit}
                http.post("/taught/edits", json=body).raise_for_status()
            body = {"name": "a.nc", "text": program(20), "network": "quiet", "repetitions": 2}
            place = http.post("/rehearsals", json=body).headers["location"]
            place = place.removeprefix(API_PREFIX)
            until(lambda: http.get(place).json()["state"] == "done", "the rehearsal")
        yield made


def operations(arm: Bench) -> Iterator[tuple[str, Any]]:
    """All of the document by name, as in the table of answers."""
    schema = schemathesis.openapi.from_url(f"{arm.url}{API_PREFIX}/openapi.json")
    for found in schema.get_all_operations():
        operation: Any = found.ok()  # type: ignore[union-attr]
        path = operation.path.removeprefix(API_PREFIX)
        yield f"{operation.method.upper()} {path}", operation


UNASKED = "GET /joints/{name}/update"
"""Nobody has asked for one here, which is a 404; `test_updates` has its answers."""


def taken_apart(name: str, response: Any) -> bool:
    """Whether it did what it was asked; then it told exactly the members that are described."""
    told = RESPONSES[name]
    if response.status_code != told.status:
        assert response.status_code >= 400, (name, response.status_code)
        return False
    if told.kind is not None:
        told.adapter.validate_json(response.content)
    return True


def test_what_is_there_is_told_as_documented_with_exactly_those_members(arm: Bench) -> None:
    asked = set()
    for name, operation in operations(arm):
        if name.startswith("GET "):
            wanted = {parameter.name for parameter in operation.path_parameters}
            places = PLACES | ({"number": PROGRAM} if "/programs/" in name else {})
            case = operation.Case(path_parameters={key: places[key] for key in wanted})
            response = case.call_and_validate(timeout=30)
            assert taken_apart(name, response) != (name == UNASKED), name
            asked.add(name)
    assert asked == {name for name in RESPONSES if name.startswith("GET ")}


def test_a_run_is_told_so_at_every_moment_from_its_start_to_its_stop(arm: Bench) -> None:
    routes = dict(operations(arm))
    place: dict[str, int] = {}

    def ask(name: str, body: dict[str, Any] | None = None) -> Any:
        said = {} if body is None else {"body": body, "media_type": "application/json"}
        wanted = place if "{number}" in name else {}
        response = routes[name].Case(path_parameters=wanted, **said).call_and_validate(timeout=30)
        assert taken_apart(name, response), (name, response.status_code)
        return response.json()

    def look() -> str:
        for name in ("GET /runs/{number}", "GET /runs/{number}/report"):
            ask(name)
        return str(ask("GET /arm")["phase"])

    wish = {"name": "b.nc", "text": program(-20, 20, -20, feed=600)}
    place["number"] = ask("POST /runs", wish)["run"]
    until(lambda: look() == "moving", "the run moving")
    ask("POST /override", {"percent": 50})
    ask("POST /hold")
    until(lambda: look() == "held", "the run held")
    ask("POST /resume")
    until(lambda: look() == "moving", "the run going on")
    ask("POST /stop", {"level": "stop"})
    until(lambda: look() == "idle", "the run stopped")
    ask("POST /control/release")


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
def test_only_documented_answers_come(arm: Bench, mode: GenerationMode) -> None:
    asked = 0
    for _, operation in operations(arm):
        if mode is GenerationMode.NEGATIVE and not (
            operation.body or operation.path_parameters or operation.query
        ):
            continue  # there is nothing that could be wrong

        @given(case=operation.as_strategy(generation_mode=mode))
        @settings(
            max_examples=EXAMPLES,
            deadline=None,
            derandomize=True,
            database=None,
            phases=[Phase.explicit, Phase.generate],
            suppress_health_check=list(HealthCheck),
        )
        def ask(case: Any) -> None:
            # A refusal by the arm's state is no fault of the data.
            case.call_and_validate(excluded_checks=[positive_data_acceptance], timeout=30)

        ask()
        asked += 1
    assert asked >= 15
    with Client(arm.url) as client:
        assert len(client.arm().joints) == len(arm.joints)
