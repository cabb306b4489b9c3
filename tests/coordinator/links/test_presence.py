"""Joints that lose power say no goodbye: asking again tells, after a few rounds."""

from coordinator.core.events import Found, Silent
from coordinator.links.names import ASKED
from coordinator.links.presence import MISSES, Presence
from protocol.discovery import Announcement


def place(name: str, port: int = 1) -> Found:
    return Found(name, "192.0.2.7", port, Announcement("0" * 12, "x", 2))


class Network:
    """What answers, what was asked and what was delivered."""

    def __init__(self) -> None:
        self.places: dict[str, Found] = {}
        self.asked: list[str] = []
        self.heard: list[Found | Silent] = []
        self.presence = Presence(self.ask, self.heard.append)

    async def ask(self, name: str) -> Found | None:
        self.asked.append(name)
        return self.places.get(name)

    async def rounds(self, count: int) -> list[Found | Silent]:
        self.heard.clear()
        for _ in range(count):
            await self.presence.round()
        return self.heard


async def test_joint_that_answers_is_not_told_of_again() -> None:
    network = Network()
    network.places["elbow"] = place("elbow")
    network.presence.begin("elbow")
    assert await network.rounds(10) == []


async def test_joint_that_stopped_answering_is_silent_once_and_found_when_it_is_back() -> None:
    network = Network()
    network.presence.begin("elbow")
    assert await network.rounds(MISSES - 1) == []
    assert await network.rounds(1) == [Silent("elbow")]
    assert await network.rounds(10) == []
    network.places["elbow"] = place("elbow", 9)
    assert await network.rounds(3) == [place("elbow", 9)]
    del network.places["elbow"]
    assert await network.rounds(MISSES) == [Silent("elbow")]


async def test_answers_that_get_lost_now_and_then_do_not_count() -> None:
    network = Network()
    network.presence.begin("elbow")
    for _ in range(3):
        network.places.clear()
        assert await network.rounds(MISSES - 1) == []
        network.places["elbow"] = place("elbow")
        assert await network.rounds(1) == []


async def test_joint_that_said_goodbye_is_asked_no_more_even_in_mid_round() -> None:
    network = Network()
    network.presence.begin("elbow")
    await network.rounds(MISSES - 1)

    async def goodbye(name: str) -> Found | None:
        presence.end(name)
        return None

    presence = Presence(goodbye, network.heard.append)
    presence.begin("wrist")
    for _ in range(MISSES):
        await presence.round()
    network.presence.end("elbow")
    assert await network.rounds(MISSES) == []


async def test_no_more_names_are_asked_than_an_arm_could_have() -> None:
    network = Network()
    for k in range(1000):
        network.presence.begin(f"stranger {k}")
    await network.rounds(1)
    assert len(network.asked) == ASKED
