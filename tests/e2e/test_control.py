"""A second client at the same arm, on real sockets."""

import secrets
from collections.abc import Iterator
from contextlib import ExitStack

import httpx2
import pytest

from tests.e2e.harness import Bench, program, until

Page = httpx2.Client


@pytest.fixture(name="stack")
def stack_of() -> Iterator[ExitStack]:
    with ExitStack() as stack:
        yield stack


def page(bench: Bench, stack: ExitStack, name: str) -> Page:
    """What a page in a browser sends."""
    headers = {
        "Origin": bench.url,
        "Unisono-Client": secrets.token_urlsafe(12),
        "Unisono-Client-Name": name,
    }
    base = bench.url + "/api/v1"
    return stack.enter_context(
        httpx2.Client(base_url=base, headers=headers, trust_env=False, timeout=30.0)
    )


def refusal(answer: httpx2.Response) -> str:
    assert answer.status_code == 409, answer.text
    return str(answer.json()["type"]).rpartition(":")[2]


def test_a_second_page_watches_and_may_hold_but_commands_only_after_taking_over_at_rest(
    bench: Bench, stack: ExitStack
) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()
    bench.home()
    laptop, phone = page(bench, stack, "the laptop"), page(bench, stack, "the phone")
    body = {"name": "a.nc", "text": program(60, 0, 60, 0, feed=600)}
    assert laptop.post("/runs", json=body).status_code == 202
    bench.until_moving()

    for path, asked in (
        ("/runs", body),
        ("/home", {}),
        ("/override", {"percent": 50}),
        ("/resume", None),
    ):
        answer = phone.post(path, json=asked)
        assert refusal(answer) == "control"
        assert "the laptop has control" in answer.json()["detail"]
    assert bench.arm_now()["phase"] == "moving"
    assert bench.unisono("override", "50").returncode == 3

    taken = phone.post("/control/take").json()
    assert taken["holder"] == taken["you"]
    until(lambda: bench.arm_now()["phase"] == "held", "the run held by the take-over")
    assert refusal(laptop.post("/resume")) == "control"
    assert phone.post("/resume").status_code == 200
    bench.until_moving()
    assert laptop.post("/hold").status_code == 200
    until(lambda: bench.arm_now()["phase"] == "held", "the run held by who only watches")
    assert laptop.post("/stop", json={}).status_code == 200


def test_take_over_in_a_jog_or_homing_lets_it_end(bench: Bench, stack: ExitStack) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()
    laptop, phone = page(bench, stack, "the laptop"), page(bench, stack, "the phone")
    homing = laptop.post("/home", json={}).json()["homing"]
    phone.post("/control/take")
    told = phone.get(f"/homings/{homing}").json()
    assert (told["state"], told["message"]) == ("failed", "held: control was taken over")
    phone.post("/control/release")

    bench.ask("home")  # a terminal gives control back at the end
    name = bench.joints[0]
    jog = {"velocities_deg_s": {name: 5.0}}

    def jogged() -> bool:
        assert laptop.post("/jog", json=jog).status_code == 200
        return bool(bench.states()[name]["velocity_deg_s"])

    until(jogged, f"{name} jogged")
    phone.post("/control/take")
    assert refusal(laptop.post("/jog", json=jog)) == "control"
    bench.until_joint(name, velocity_deg_s=0.0)
    assert bench.arm_now()["phase"] == "idle"


def test_a_terminal_keeps_nobody_waiting_once_its_command_is_done_or_refused(
    bench: Bench, stack: ExitStack
) -> None:
    bench.simulate()
    bench.serve()
    bench.until_linked()
    phone = page(bench, stack, "the phone")

    def holder() -> object:
        return phone.get("/control").json()["name"]

    mistyped = bench.play("G7 A10\n", "mistyped.nc")
    assert mistyped.popen.wait(60) == 2
    unhomed = bench.play(program(60), "unhomed.nc")
    assert unhomed.popen.wait(60) == 3
    assert bench.unisono("resume").returncode == 3
    homing = phone.post("/home", json={})
    assert homing.status_code == 202
    place = homing.headers["location"].rpartition("/api/v1")[2]
    until(lambda: phone.get(place).json()["state"] == "done", "the page's homing")
    phone.post("/control/release")

    # What follows a run commands as long as it does; what only passes by leaves that as it is.
    run = bench.play(program(60, 0, 60, 0, feed=600))
    bench.until_moving()
    bench.ask("override", "50")
    assert str(holder()).startswith("the terminal of")
    bench.ask("hold")
    assert run.popen.wait(60) == 1
    assert holder() is None
    bench.ask("resume")
    assert bench.arm_now()["phase"] != "held"
    assert holder() is None
    bench.ask("override", "100")
    assert holder() is None
    assert phone.post("/override", json={"percent": 50}).status_code == 200
    assert holder() == "the phone"
    assert bench.unisono("override", "100").returncode == 3
    assert phone.post("/stop", json={}).status_code == 200
