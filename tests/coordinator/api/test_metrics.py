"""What a supervisor and a monitoring system are told, without sockets."""

import asyncio
import re
from collections.abc import AsyncIterator
from dataclasses import replace
from pathlib import Path

import httpx2
import pytest
from prometheus_client.parser import text_string_to_metric_families

from coordinator.api import create_app
from coordinator.api.authentication import Authentication
from coordinator.api.served_at import ServedAt
from coordinator.api.tokens import Role, Tokens
from coordinator.codes.link_word import LinkWord
from coordinator.codes.outcome import Outcome
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEMO_ARM
from coordinator.core.run.report import Report, StartRecord
from coordinator.service import Service, running

ARM = load_arm(DEMO_ARM)
HOST = "127.0.0.1"
PAGE = Path(__file__).parents[3] / "coordinator" / "api" / "README.md"
BASE = f"http://{HOST}:8750"


@pytest.fixture(name="service")
async def service_that_is_open(tmp_path: Path) -> AsyncIterator[Service]:
    make_key(tmp_path)
    async with running(ARM, tmp_path, HOST) as service:
        yield service


@pytest.fixture(name="http")
async def http_of(service: Service) -> AsyncIterator[httpx2.AsyncClient]:
    async with client_of(service) as http:
        yield http


def client_of(service: Service, served_at: ServedAt | None = None) -> httpx2.AsyncClient:
    app = create_app(service, served_at) if served_at else create_app(service)
    base = "https://bench.local:8750" if served_at else BASE
    return httpx2.AsyncClient(transport=httpx2.ASGITransport(app), base_url=base)


async def figures(http: httpx2.AsyncClient) -> dict[tuple[str, ...], float]:
    """Every sample by its name and the values of its labels, read by the library's own parser."""
    answer = await http.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/plain; version=0.0.4")
    return {
        (sample.name, *sample.labels.values()): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


async def test_every_figure_is_named_for_the_arm_and_labelled_by_nothing_without_bounds(
    http: httpx2.AsyncClient,
) -> None:
    text = (await http.get("/metrics")).text
    for family in text_string_to_metric_families(text):
        assert family.name.startswith("unisono_")
        assert family.documentation.endswith(".")
        for sample in family.samples:
            assert set(sample.labels) <= {"joint", "outcome"}


async def test_the_page_for_developers_names_every_figure_and_no_other(
    http: httpx2.AsyncClient,
) -> None:
    told = set(re.findall(r"# TYPE (\w+)", (await http.get("/metrics")).text))
    assert set(re.findall(r"`(unisono_\w+)", PAGE.read_text(encoding="utf-8"))) == told


async def test_what_is_not_known_is_left_out_and_what_never_happened_is_zero(
    http: httpx2.AsyncClient,
) -> None:
    found = await figures(http)
    assert found["unisono_joint_link_up", "elbow"] == 0
    assert ("unisono_joint_temperature_celsius", "elbow") not in found
    assert found["unisono_runs_total", "finished"] == found["unisono_holds_total",] == 0
    assert found["unisono_watchers",] == found["unisono_loop_lag_seconds",] == 0


async def test_figures_are_in_base_units_and_those_of_a_silent_joint_are_left_out(
    http: httpx2.AsyncClient, service: Service, monkeypatch: pytest.MonkeyPatch
) -> None:
    state = service.snapshot()
    joints = [
        replace(
            joint, link=word, temperature_c=36.5, supply_v=23.8, homed=True,
            loss=0.01, rtt_p50_us=3100.0, rtt_p99_us=9400.0,
            clock=replace(joint.clock, uncertainty_us=620),
        )
        for joint, word in zip(state.joints[2:4], (LinkWord.UP, LinkWord.OFFLINE), strict=True)
    ]  # fmt: skip
    state = replace(state, joints=(*state.joints[:2], *joints, *state.joints[4:]))
    monkeypatch.setattr(service, "snapshot", lambda: state)
    found = await figures(http)
    assert {name[0].removeprefix("unisono_joint_"): value
            for name, value in found.items() if name[1:] == ("elbow",)} == {
        "link_up": 1, "temperature_celsius": 36.5, "supply_volts": 23.8, "homed": 1,
        "loss_ratio": 0.01, "rtt_p50_seconds": pytest.approx(3.1e-3),
        "rtt_p99_seconds": pytest.approx(9.4e-3),
        "clock_uncertainty_seconds": pytest.approx(6.2e-4),
    }  # fmt: skip
    assert [name[0] for name in found if name[1:] == ("forearm",)] == ["unisono_joint_link_up"]


async def test_runs_are_counted_by_outcome(http: httpx2.AsyncClient, service: Service) -> None:
    record = StartRecord(1, 1, 0, 0, {}, 0, 0)
    report = Report(1, "a.nc", (), 0, outcome=Outcome.LOST, ended_us=1, starts=[record, record])
    report.partial_starts = 1
    service.run_counts.take(report)
    found = await figures(http)
    assert found["unisono_runs_total", "lost"] == 1
    assert (found["unisono_starts_total",], found["unisono_partial_starts_total",]) == (2, 1)


async def test_a_coordinator_is_ready_from_its_opening_to_its_end(tmp_path: Path) -> None:
    make_key(tmp_path)
    service = Service(ARM, tmp_path, HOST)
    async with client_of(service) as http:
        assert (await http.get("/readyz")).json()["type"] == "urn:unisono:problem:not-ready"
        await service.open()
        assert (await http.get("/readyz")).status_code == 200
        assert (await http.get("/healthz")).json() == {"status": "ok"}
        await asyncio.wait_for(service.close(), 30)
        answer = await http.get("/readyz")
        assert (answer.status_code, answer.headers["content-type"]) == (
            503, "application/problem+json",
        )  # fmt: skip
        assert (await http.get("/healthz")).status_code == 200


async def test_a_broken_core_is_neither_ready_nor_healthy(
    http: httpx2.AsyncClient, service: Service
) -> None:
    service.failed.set()
    for path in ("/readyz", "/healthz", "/api/v1/healthz"):
        answer = await http.get(path)
        assert (answer.status_code, answer.json()["type"]) == (503, "urn:unisono:problem:failed")


async def test_elsewhere_figures_take_a_token_and_probes_do_not(
    service: Service, tmp_path: Path
) -> None:
    tokens = Tokens(tmp_path).make(list(Role))
    served_at = ServedAt("https", ("bench.local",), Authentication(Tokens(tmp_path)))
    async with client_of(service, served_at) as http:
        assert (await http.get("/metrics")).status_code == 401
        assert (await http.get("/readyz")).status_code == 200
        assert (await http.get("/healthz")).status_code == 200
        bearer = {"authorization": f"Bearer {tokens[Role.WATCH]}"}
        assert (await http.get("/metrics", headers=bearer)).status_code == 200
