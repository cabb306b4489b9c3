"""The example for Prometheus asks for figures that there are.

Both files were read by `promtool check` (Prometheus 2.42), which is too large to install for it.
"""

import re
from pathlib import Path

import httpx2

from coordinator.api import create_app
from coordinator.config.arm import load_arm
from coordinator.config.data_folder import make_key
from coordinator.config.settings import DEFAULT_PORT, DEMO_ARM
from coordinator.service import running

DEPLOY = Path(__file__).parents[2] / "deploy"


async def test_every_figure_of_an_alert_is_exposed(tmp_path: Path) -> None:
    make_key(tmp_path)
    async with running(load_arm(DEMO_ARM), tmp_path, "127.0.0.1") as service:
        transport = httpx2.ASGITransport(create_app(service))
        async with httpx2.AsyncClient(transport=transport, base_url="http://127.0.0.1") as http:
            exposed = set(re.findall(r"# TYPE (\w+)", (await http.get("/metrics")).text))
    asked = set(re.findall(r"unisono_\w+", (DEPLOY / "alerts.yml").read_text()))
    assert len(asked) >= 4
    assert asked <= exposed


def test_the_scrape_goes_to_the_coordinators_own_port() -> None:
    text = (DEPLOY / "prometheus.yml").read_text()
    assert f'["127.0.0.1:{DEFAULT_PORT}"]' in text
    assert "metrics_path: /metrics" in text
