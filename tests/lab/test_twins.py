"""Two joints of one id that both hold the key."""

from tests.lab.lab import Lab


def test_two_joints_of_one_id_are_named_and_neither_is_used(lab: Lab) -> None:
    lab.serve()
    lab.until_ready()
    lab.power_on("elbow", host="twin", seed=9)
    joint = lab.until_joint("elbow", link="conflict")
    for name in ("elbow", "twin"):
        assert lab.hosts[name].address in joint["link_message"]
    assert joint["id"] in joint["link_message"]
    # Its coordinator waits for both of them for long; the next test is not to.
    lab.end_coordinator()
