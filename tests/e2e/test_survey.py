"""Links of software joints whose radios sleep, from real sockets to the command line."""

from pathlib import Path
from xml.etree import ElementTree as ET

from tests.e2e.harness import bench


def test_radios_that_sleep_are_named_with_what_to_do_about_it(tmp_path: Path) -> None:
    with bench(tmp_path) as arm:
        arm.simulate(network="power-save")
        arm.serve()
        arm.until_linked()
        picture = tmp_path / "links.svg"
        # Three hundred exchanges must be answered, which takes twelve seconds.
        found = arm.ask("survey", "--for", "14", "--plot", str(picture))
        assert found["phase"] == "done"
        assert [one["joint"] for one in found["results"]] == list(arm.joints)
        for one in found["results"]:
            assert [finding["code"] for finding in one["findings"]] == ["power-save"], one
            assert one["figures"]["power_save"]["interval_us"] == 102_400
        assert ET.fromstring(picture.read_text()).tag.endswith("svg")
