"""Every route, asked by schemathesis for all that the OpenAPI document allows and for what it does
not, with a running simulated arm: only documented answers come, and the arm lives on.
"""

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from schemathesis import GenerationMode
from schemathesis.checks import positive_data_acceptance

from coordinator.client import Client
from tests.e2e.harness import Bench, linked_bench

EXAMPLES = 12
"""Per route; the arm's own state makes many answers refusals, which are documented too."""


@pytest.fixture(scope="module", name="arm")
def linked_arm(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    with linked_bench(tmp_path_factory.mktemp("arm")) as made:
        yield made


@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
def test_only_documented_answers_come(arm: Bench, mode: GenerationMode) -> None:
    schema = schemathesis.openapi.from_url(f"{arm.url}/api/v1/openapi.json")
    asked = 0
    for found in schema.get_all_operations():
        operation: Any = found.ok()  # type: ignore[union-attr]
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
        assert len(client.arm()["joints"]) == len(arm.joints)
