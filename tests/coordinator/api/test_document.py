"""The OpenAPI document: what it says of every route, held against itself (JSON Schema 2020-12)."""

from collections.abc import Iterator
from typing import Any, NamedTuple, get_args

import httpx2
import pytest
from jsonschema import Draft202012Validator  # type: ignore[import-untyped]

from coordinator.api.responses.table import RESPONSES
from coordinator.config.settings import API_PREFIX
from coordinator.playing.queue import QueueEdit
from coordinator.teaching.edits import AskedEdit


class Operation(NamedTuple):
    """One route in the document."""

    name: str
    said: dict[str, Any]

    @property
    def done(self) -> tuple[int, dict[str, Any]]:
        """Status and description of the one answer where it does what it is asked."""
        (status,) = (status for status in self.said["responses"] if status.startswith("2"))
        return int(status), self.said["responses"][status]


@pytest.fixture(name="document")
async def document_of(http: httpx2.AsyncClient) -> dict[str, Any]:
    answer = await http.get("/openapi.json")
    assert answer.headers["content-type"] == "application/json"
    document: dict[str, Any] = answer.json()
    return document


@pytest.fixture(name="operations")
def operations_of(document: dict[str, Any]) -> list[Operation]:
    found = [
        Operation(f"{method.upper()} {path.removeprefix(API_PREFIX)}", said)
        for path, methods in document["paths"].items()
        for method, said in methods.items()
    ]
    assert len(found) > 25
    return found


def mistakes(document: dict[str, Any], schema: dict[str, Any], value: Any) -> list[str]:
    """What a value breaks of a schema that may refer to others of the document."""
    whole = {**schema, "components": document["components"]}
    return [error.message for error in Draft202012Validator(whole).iter_errors(value)]


def test_every_answer_has_a_form_and_an_example_that_is_of_it(
    document: dict[str, Any], operations: list[Operation]
) -> None:
    assert {operation.name for operation in operations} == RESPONSES.keys()
    for name, said in operations:
        _, answer = Operation(name, said).done
        assert answer["description"], name
        assert answer["content"], name
        for media, content in answer["content"].items():
            schema = content["schema"]
            assert schema not in ({}, {"type": "object"}), name
            assert "example" in content, name
            assert mistakes(document, schema, content["example"]) == [], name
            if media == "application/json":
                described = document["components"]["schemas"][schema["$ref"].split("/")[-1]]
                assert described["description"], name
                assert mistakes(document, schema, {}) != [], name


def test_every_member_is_required_but_one_and_has_an_example(document: dict[str, Any]) -> None:
    edits = {
        edit.__name__ for edit in get_args(AskedEdit) + get_args(QueueEdit)
    }  # what is asked, not answered
    schemas = {
        name: schema
        for name, schema in document["components"]["schemas"].items()
        if name not in edits
    }
    free = {
        f"{name}.{member}"
        for name, schema in schemas.items()
        if "properties" in schema and not name.endswith(("Body", "Problem"))
        for member in schema["properties"].keys() - set(schema.get("required", ()))
    }
    assert free == {"KeptReport.written_utc"}
    # Of dataclasses that are told as they are there is an example of the whole.
    whole = {
        "CheckedMove", "Overtravels", "SlowerMove", "SlowerCorner", "Summary", "Quantiles", "Share",
        "JointPeaks", "Peak", "SupplySnapshot",
        "ArmSnapshot", "JointSnapshot", "ClockSnapshot", "CountersSnapshot", "HeatReport",
        "Estimate", "TimeLeft", "RunSnapshot",
        "StartSnapshot", "RunGoing", "RunOver", "StartForecast", "Obstacle", "Condition", "Note",
        "HomingSnapshot", "HomingWay", "JointHoming", "FoundEdge", "WarningSnapshot",
        "UnknownJoint",
        "AlarmsSnapshot", "ShelfSnapshot", "FloodSnapshot",
        "JogSpeeds", "ControlAsked", "KeptReport", "StartReport", "StartOfJoint", "ReportOfJoint",
        "HoldRecord", "OverrideRecord", "Unwritten", "Waypoint", "Visit", "Sequence", "KeptChange",
        "Shifted", "TaughtSnapshot", "Event", "RunInShort", "KeptProgram", "ChangedLine",
        "ProgramPreview", "Queue", "QueueEntry", "PlayOptions", "Curves", "CurveMark",
        "TaughtResult",
        "Production", "Cycle", "Delay", "Interventions", "Seam", "WayBack", "UpdateSnapshot",
        "JointHistory", "Readings", "JointWear", "HopWear", "JointHomings", "HomePlace",
        "HomeFigure", "SurveySnapshot", "JointSurvey", "LinkFigures", "LinkFinding",
        "ClockFigures", "Stability",
        "PowerSave", "MulticastFigures", "ArmFileNow", "ArmTextLookedAt", "ArmTextMistake",
        "ChangedRow", "BringUp", "BringUpSaid", "BringUpStep",
    }  # fmt: skip
    bare = {
        f"{name}.{member}"
        for name, schema in schemas.items()
        if name not in {*whole, "Problem"}
        for member, said in schema.get("properties", {}).items()
        if "examples" not in said
    }
    assert bare == set()


def test_members_of_the_cores_own_values_are_described_by_their_docstrings(
    document: dict[str, Any],
) -> None:
    schemas = document["components"]["schemas"]
    said = schemas["ArmSnapshot"]["properties"]["session"]["description"]
    assert said.startswith("Another one with each coordinator")
    said = schemas["CountersSnapshot"]["properties"]["lost"]["description"]
    assert said == "How many of these."


def test_every_example_is_of_its_schema(document: dict[str, Any]) -> None:
    def look(schema: Any) -> Iterator[tuple[Any, Any]]:
        if isinstance(schema, dict):
            for example in schema.get("examples", ()):
                yield schema, example
            for inner in schema.values():
                yield from look(inner)
        elif isinstance(schema, list):
            for inner in schema:
                yield from look(inner)

    found = [*look(document["components"]["schemas"]), *look(document["paths"])]
    assert len(found) > 60
    for schema, example in found:
        assert mistakes(document, schema, example) == [], (schema, example)
    problem = document["components"]["schemas"]["Problem"]
    assert mistakes(document, problem, problem["example"]) == []


def test_every_parameter_has_an_example(operations: list[Operation]) -> None:
    parameters = [
        (name, parameter["name"], parameter["schema"])
        for name, said in operations
        for parameter in said.get("parameters", ())
    ]
    assert len(parameters) > 10
    for name, what, schema in parameters:
        own = [schema, *schema.get("anyOf", ())]
        assert any("examples" in one for one in own), (name, what)


def test_what_begins_something_says_where_and_what_is_no_json_says_so(
    operations: list[Operation],
) -> None:
    done = {operation.name: operation.done for operation in operations}
    begun = {name for name, (status, _) in done.items() if status == 202}
    assert begun == {
        "POST /home", "POST /runs", "POST /queue/play", "POST /rehearsals",
        "POST /joints/{name}/update", "POST /survey",
    }  # fmt: skip
    assert {
        name for name, (_, answer) in done.items() if "Location" in answer.get("headers", {})
    } == (begun)
    other = {
        name: media
        for name, (_, answer) in done.items()
        for media in answer["content"]
        if media != "application/json"
    }
    assert other == {
        "GET /arm/file": "text/plain",
        "GET /joints/{name}/bring-up/sheet": "text/html",
        "GET /joints/{name}/history": "text/csv",
        "GET /runs/{number}/program": "text/plain",
        "GET /runs/{number}/record": "text/html",
        "GET /taught/sequences/{number}/program": "text/plain",
        "GET /taught/programs/{number}/text": "text/plain",
        "GET /rehearsals/{number}/plot": "image/svg+xml",
    }


def test_only_what_takes_input_can_find_it_wrong(operations: list[Operation]) -> None:
    for name, said in operations:
        takes = bool(said.get("parameters")) or "requestBody" in said
        assert ("422" in said["responses"]) is takes, name
        assert ("404" in said["responses"]) is ("{" in name), name


SIMPLE = [
    ("GET", "/healthz", None),
    ("GET", "/arm", None),
    ("GET", "/arm/file/now", None),
    ("POST", "/arm/file/check", {"text": "name = 1\n"}),
    ("GET", "/joints/elbow/homing", None),
    ("GET", "/joints/elbow/bring-up", None),
    ("GET", "/joints/elbow/history", None),
    ("GET", "/joints/elbow/wear", None),
    ("GET", "/joints/elbow/homings", None),
    ("GET", "/runs", None),
    ("GET", "/events", None),
    ("GET", "/queue", None),
    ("GET", "/warnings", None),
    ("GET", "/control", None),
    ("GET", "/session", None),
    ("GET", "/rehearsals", None),
    ("POST", "/check", {"text": "G0 A10\nM2\nG0 A20\n"}),
    ("POST", "/check", {"text": "G7 A10\n"}),
    ("POST", "/stop", {}),
    ("POST", "/control/take", None),
    ("POST", "/control/release", None),
    ("POST", "/session", {"token": "any"}),
    ("DELETE", "/session", None),
]


@pytest.mark.parametrize(("method", "path", "body"), SIMPLE)
async def test_an_arm_without_joints_answers_with_exactly_the_members_described(
    http: httpx2.AsyncClient, method: str, path: str, body: object
) -> None:
    """What needs joints is in tests/e2e/test_documented.py."""
    await http.post("/stop", json={})  # so that there is something in the journal
    answer = await http.request(method, path, json=body)
    told = RESPONSES[f"{method} {path.replace('elbow', '{name}')}"]
    assert answer.status_code == told.status
    assert told.kind is not None
    told.adapter.validate_json(answer.content)
