"""A coordinator and its joints on hosts of their own, joined by a network that can be ill-treated.

The joints are the project's own software joints, each a process on its own host, and the
coordinator is `unisono serve`. What truly happened is in the joints' truth log, whose instants are
of one clock for all hosts.
"""

import contextlib
import functools
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, get_args

from coordinator.cli.local import NetworkOption
from coordinator.client import Client
from coordinator.config.arm import load_arm
from coordinator.links.clock import arm_now_us
from protocol.constants import IDLE_INTERVAL_US
from protocol.states import MOVING_STATES
from tests.e2e.harness import Bench, Process, program, until
from tests.lab.announcements import Announced
from tests.lab.door import Door
from tests.lab.frames import TCP, Packet, Place, read, reset_of
from tests.lab.hosts import NETWORK, Host, Keeping
from tests.lab.switch import Link, Switch
from tests.quick_arm import arm_text

COORDINATOR: Final = "coordinator"
OTHERS: Final = ("stranger", "twin")
"""Hosts beside the arm's: one that has no key, and one for a second joint of some id."""
FIRST_OTHER: Final = 100
"""Last number of the first such host's address; the coordinator has 1, the joints 11 and on."""
ELSEWHERE: Final = (40, 41)
SEED: Final = 1
REST_S: Final = 10.0
SOUND_S: Final = 3.0
"""In which a coordinator that an earlier test left well has all joints ready."""
_KNOWN: Final = get_args(get_args(NetworkOption)[0])
PROFILE: Final = "none" if "none" in _KNOWN else "quiet"
"""Of the joints themselves: what their links do is the laboratory's business."""
TRIES: Final = 3
TICK_S: Final = 0.005
TURN_US: Final = 2 * IDLE_INTERVAL_US
"""After this much whatever was sent before is answered."""
BEGUN_US: Final = 300_000
"""Path time at which all joints move for sure."""
REST: Final = ("idle", "held", "paused")
NEAR, FAR = -155.0, 150.0


@dataclass(slots=True, kw_only=True)
class Lab(Bench):
    """A bench whose processes have a host each. Use `lab` to make one."""

    hosts: dict[str, Host]
    switch: Switch
    _door: Door
    _client: Client
    coordinator: Process | None = None
    served_us: int = 0
    """Arm time at which the coordinator was there."""
    powered: dict[str, Process] = field(default_factory=dict)
    """The joints that run, by name."""

    # ---- processes ------------------------------------------------------------------------

    def serve(self, wrapper: Sequence[str] = (), data: Path | None = None) -> Process:
        """Power on every joint that is off and start a coordinator, in place of the one before."""
        for name in self.joints:
            if name not in self.powered:
                self.power_on(name)
        self.end_coordinator()
        self.coordinator = self.start(
            "serve", "--json", "--arm", str(self.arm), "--data", str(data or self.data),
            "--interface", self.hosts[COORDINATOR].address, "--port", str(self._door.port),
            wrapper=wrapper, inside=self.hosts[COORDINATOR].inside,
        )  # fmt: skip
        self.served_us = arm_now_us()
        return self.coordinator

    def end_coordinator(self) -> None:
        """Kill the coordinator: all that moves comes to rest by its permit."""
        if self.coordinator is not None:
            self.coordinator.kill()
            self.coordinator = None

    def power_on(self, name: str, host: str = "", seed: int = SEED) -> Process:
        """A joint boots, on its own host or another one; announced when this returns."""
        here = self.hosts[host or name]
        process = self.start(
            "simulate", "--json", "--arm", str(self.arm), "--data", str(self.data),
            "--network", PROFILE, "--seed", str(seed), "--truth", str(self.truth),
            "--interface", here.address, "--only", name, inside=here.inside,
        )  # fmt: skip
        self.powered[host or name] = process
        return process

    def power_on_moving(self, name: str) -> Process:
        """A joint boots that keeps its ports when it gets another address."""
        self.powered[name] = self.start(
            str(self.arm), str(self.data), str(self.truth), name,
            wrapper=("-m", "tests.lab.moving_joint"), inside=self.hosts[name].inside,
        )  # fmt: skip
        return self.powered[name]

    def power_off(self, name: str) -> None:
        """A joint, or what runs on a host, loses its power: no goodbye, no word."""
        self.powered.pop(name).kill()

    def move_address(self, name: str, address: str) -> None:
        """A host gets another address, as by DHCP."""
        self.hosts[name].move(address)

    # ---- the network ----------------------------------------------------------------------

    def link(self, name: str) -> Link:
        """A host's link."""
        return self.switch.links[name]

    @contextlib.contextmanager
    def reset_streams(self, per_s: float) -> Iterator[None]:
        """Somebody who sees all frames ends every TCP connection on the network so often."""
        newest: dict[tuple[Place, Place], tuple[str, Packet]] = {}

        def look(name: str, frame: bytes) -> None:
            packet = read(frame)
            if packet is not None and packet.protocol == TCP and packet.acknowledged is not None:
                newest[packet.source, packet.target] = name, packet

        def reset() -> None:
            # What is not ended by this answers (RFC 5961 section 3.2), and is known again by it.
            for connection in list(newest):
                name, packet = newest.pop(connection)
                if not packet.resets:
                    self.switch.send(name, reset_of(packet))

        with self.switch.watched(look), at_rate(per_s, reset):
            yield

    def announced(self, name: str) -> Announced:
        """What a joint announces of itself: true, until somebody changes it."""
        (ready,) = self.powered[name].ready["joints"]
        return Announced(
            instance=f"{name}-{ready['id']}",
            id=ready["id"],
            address=self.hosts[name].address,
            stream_port=ready["stream_port"],
            udp_port=ready["udp_port"],
            server=f"{ready['id']}-{ready['udp_port']}",
        )

    # ---- what people ask for --------------------------------------------------------------

    def arm_now(self) -> dict[str, Any]:
        """The arm's state."""
        assert self.switch.broken is None, self.switch.broken
        self._client.arm()
        return self._client.answers["arm"]

    def ready(self) -> None:
        """See to it that the arm can play: all on, linked and homed, with the coordinator there is.

        A coordinator that does not come to that by itself is replaced.
        """
        if self.coordinator is not None:
            with contextlib.suppress(AssertionError):
                self.until_ready(SOUND_S)
                return
        self.serve()
        self.until_ready()

    def until_ready(self, deadline_s: float = 30.0) -> None:
        """Wait until all joints are linked and their clocks known; home those that need it."""
        try:
            until(lambda: not self._lacking(), "all joints ready", deadline_s)
        except AssertionError as error:
            raise AssertionError(f"{error}: {self._lacking()}") from error
        unhomed = [name for name, joint in self.states().items() if not joint["homed"]]
        if unhomed:
            number = self._client.home(unhomed)
            until(lambda: self._homing_ended(number), f"the homing of {' '.join(unhomed)}")
            homing = self._client.homing(number)
            assert homing.state == "done", homing

    def _lacking(self) -> dict[str, str]:
        """Joints that are not ready, and what keeps them from it."""
        return {
            joint["name"]: joint["link_message"] or joint["clock"]["reason"] or joint["link"]
            for joint in self.states().values()
            if not _is_ready(joint)
        }

    def until_heard_anew(self) -> None:
        """Wait until every joint has answered something that was sent from now on."""
        now_us = self.arm_now()["now_us"]

        def look() -> bool:
            heard = [joint["heard_at_us"] for joint in self.states().values()]
            return all(at_us is not None and at_us > now_us + TURN_US for at_us in heard)

        until(look, "all joints heard", REST_S)

    def _homing_ended(self, number: int) -> bool:
        return self._client.homing(number).state != "running"

    def begin(self, text: str) -> int:
        """Begin to play; the run's number."""
        return self._client.play("lab.nc", text)

    def report(self, run: int) -> dict[str, Any]:
        """A run's report as it is now."""
        self._client.report(run)
        return self._client.answers["report"]

    def moves(self) -> tuple[int, int]:
        """Have the arm move for 20 s and more; the run, and the truth log's lines before it.

        Nothing has been done to the arm yet: where this machine itself, which others use too,
        keeps an arm from its start, the start is tried anew. What is asserted comes after it.
        """
        came_of_it = []
        for _ in range(TRIES):
            self.until_ready()
            since = len(self.truths())
            run = self.begin(self.far())
            look = functools.partial(self._moves_or_rests, run)
            if until(look, "a run that moves or rests") == "moves":
                return run, since
            came_of_it.append(self.report(run)["message"])
            self.rest()
        raise AssertionError(came_of_it)

    def _moves_or_rests(self, run: int) -> str:
        found = self.arm_now()["run"]
        if found and found["phase"] == "moving" and found["path_us"] >= BEGUN_US:
            return "moves"
        return "rests" if self._client.run(run).phase in ("ended", *REST) else ""

    def until_ended(self, run: int, deadline_s: float = 30.0) -> dict[str, Any]:
        """Wait until a run is over or held; its report."""
        until(lambda: self._client.run(run).phase in ("ended", *REST), f"run {run}", deadline_s)
        return self.report(run)

    def plays(self) -> dict[str, Any]:
        """Play a short program, which must go through; its report."""
        self.until_ready()
        report = self.until_ended(self.begin(self.short()))
        assert (report["outcome"], report["holds"]) == ("finished", []), report["message"]
        return report

    def short(self) -> str:
        """A program that moves all joints by a few degrees and ends."""
        at = self._somewhere()
        return program(at + 3 if at < NEAR else at - 3)

    def far(self, feed: int = 900) -> str:
        """A program that moves all joints to the far end of their range: for 20 s and more."""
        at = self._somewhere()
        return program(NEAR if at > 0 else FAR, feed=feed)

    def _somewhere(self) -> int:
        """Where the first joint stands, in whole degrees; after a stop the others are near it."""
        at_deg: float = self.states()[self.joints[0]]["position_deg"]
        return round(at_deg)

    def rest(self) -> None:
        """End what goes on and wait until all rests."""
        if not self._at_rest():
            self._client.stop("stop")
            until(self._at_rest, "the arm at rest", REST_S)

    def tidy_up(self) -> None:
        """Links are good, what runs on others' hosts is off, what moves rests."""
        for link in self.switch.links.values():
            link.restore()
        for name, process in list(self.powered.items()):
            if name in OTHERS or process.popen.poll() is not None:
                self.power_off(name)
        if self.coordinator is not None and self.coordinator.popen.poll() is not None:
            self.coordinator = None
        if self.coordinator is not None:
            try:
                self.rest()
            except AssertionError:
                self.end_coordinator()

    def until_all_rest(self, since: int) -> list[dict[str, Any]]:
        """Wait until all joints have come to rest on the path; the last line of each."""
        return self.until_truth("hold", *self.joints, since=since)

    def _at_rest(self) -> bool:
        arm = self.arm_now()
        moving = {state.word for state in MOVING_STATES}
        states = {joint["state"] for joint in arm["joints"]}
        return arm["phase"] == "idle" and not states & moving

    def rests(self, since: int) -> list[dict[str, Any]]:
        """What truly came to rest before its end after so many lines of the truth log."""
        return [line for line in self.truths()[since:] if line["event"] in ("hold", "stop")]


def elsewhere(lab: Lab, name: str) -> str:
    """An address that a host does not have now and nobody else ever has."""
    first, other = (str(NETWORK[number]) for number in ELSEWHERE)
    return other if lab.hosts[name].address == first else first


@contextlib.contextmanager
def lab(folder: Path, joints: int = 3) -> Iterator[Lab]:
    """Hosts, switch, arm file and key; nothing runs on the hosts yet. Raises NoLaboratoryError."""
    with contextlib.ExitStack() as stack:
        keeping = stack.enter_context(Keeping.running())
        arm = folder / "arm.toml"
        arm.write_text(arm_text(joints, touch=False))
        names = [joint.name for joint in load_arm(arm).joints]
        numbers = {COORDINATOR: 1}
        numbers |= {name: 11 + k for k, name in enumerate(names)}
        numbers |= {name: FIRST_OTHER + k for k, name in enumerate(OTHERS)}
        hosts = {name: keeping.make(name, number) for name, number in numbers.items()}
        switch = Switch(hosts)
        switch.start()
        stack.callback(switch.close)
        door = stack.enter_context(Door(hosts[COORDINATOR]))
        url = f"http://127.0.0.1:{door.port}"
        client = stack.enter_context(Client(url))
        made = Lab(
            folder, arm, folder / "data", folder / "truth.jsonl", url,
            hosts=hosts, switch=switch, _door=door, _client=client,
        )  # fmt: skip
        stack.callback(made.close)
        made.ask("key", "new", "--data", str(made.data))
        yield made


@contextlib.contextmanager
def at_rate(per_s: float, act: Callable[[], None]) -> Iterator[None]:
    """Do something so often, beside what the test does, from now until left."""
    ended = threading.Event()
    failed: list[BaseException] = []

    def go_on() -> None:
        began_s, done = time.monotonic(), 0
        try:
            while not ended.wait(min(TICK_S, 1 / per_s)):
                due = int((time.monotonic() - began_s) * per_s)
                for _ in range(due - done):
                    act()
                done = due
        except BaseException as error:  # noqa: BLE001  # told to the test in its own thread
            failed.append(error)

    thread = threading.Thread(target=go_on, daemon=True)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()
    if failed:
        raise failed[0]


def _is_ready(joint: dict[str, Any]) -> bool:
    return bool(
        joint["link"] == "up" and joint["state"] and joint["clock"]["locked"] and joint["measured"]
    )
