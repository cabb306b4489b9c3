"""A joint that loses its power and comes back at another address."""

from typing import Final

from tests.e2e.harness import until
from tests.lab.lab import Lab, elsewhere

BACK_S: Final = 10.0


def test_joint_that_is_power_cycled_at_another_address_is_linked_again(lab: Lab) -> None:
    lab.ready()
    boot = lab.states()["elbow"]["boot"]
    lab.power_off("elbow")
    lab.move_address("elbow", elsewhere(lab, "elbow"))
    lab.power_on("elbow")

    def look() -> bool:
        elbow = lab.states()["elbow"]
        return bool(elbow["link"] == "up" and elbow["boot"] != boot)

    until(look, "the elbow linked", BACK_S)
    lab.until_ready(BACK_S)
    lab.plays()
