"""Bring up: which firmware runs where, the way from a bare board, and an update in the page."""

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from protocol.image import describe, encode_header
from tests.browser import canned
from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Feed, Open, stay_new
from tests.browser.looks import looks_well
from tests.e2e.harness import bench
from tests.updatable import Updatable

IMAGE = b"pricking out " * 1000


def file(image: bytes = IMAGE, board: str = "bench-joint") -> bytes:
    return encode_header(describe(board, "1.5.0", image)) + bytes(64) + image


def update(phase: str = "sending", message: str = "", **values: Any) -> dict[str, Any]:
    """An update of the elbow, as the feed tells it."""
    return {
        "joint": "elbow", "phase": phase, "message": message or f"{phase} 1.5.0, 1 of 2 bytes",
        "code": "", "before": "0.1.0", "firmware": "1.5.0", "board": "bench-joint",
        "size_bytes": len(IMAGE), "sent_bytes": len(IMAGE) // 4, "sha256": "5a" * 32,
        "may_be_cancelled": phase in ("offered", "sending"), "may_be_repeated": False, **values,
    }  # fmt: skip


def limp(**values: Any) -> dict[str, Any]:
    """An arm at rest whose motors are off."""
    first = canned.whole(
        phase="idle", run=None, condition=canned.condition("motors off"), preview=None, **values
    )
    for joint in first["state"]["joints"]:
        joint |= {"state": "ready", "velocity_deg_s": 0.0, "energised": False}
    first["state"]["joints"][1] |= {"image": "5a3c" * 16, "on_trial": True, "firmware": "1.5.0"}
    first["state"]["joints"][3] |= {"board": None, "image_capacity_bytes": 0}
    first["state"]["joints"][5] |= {"firmware": None, "board": None, "link": "offline"}
    return first


@pytest.fixture
def feed() -> Feed:
    return Feed(limp())


def opened(open_page: Open, files: str, feed: Feed, size: dict[str, int] = DESKTOP) -> Page:
    def before(page: Page) -> None:
        feed.attach(page)
        stay_new(page)

    page = open_page(f"{files}/#bringup", size=size, bypass_csp=True, before=before)
    page.get_by_role("heading", name="From a bare board").wait_for()
    return page


def choose(page: Page, held: bytes, joint: str = "elbow") -> None:
    card = page.get_by_role("region", name="Update", exact=True)
    card.get_by_role("combobox", name="Joint").select_option(joint)
    payload: Any = {"name": "joint.bin.signed", "mimeType": "", "buffer": held}
    page.get_by_label("Signed image").set_input_files(payload)


@pytest.mark.parametrize("size", [DESKTOP, PHONE], ids=["1280", "360"])
@pytest.mark.parametrize("phase", ["", "sending", "went-back"])
def test_axe_finds_nothing_and_nothing_is_too_wide_or_too_small(
    open_page: Open, files: str, size: dict[str, int], phase: str
) -> None:
    back = "elbow went back to 0.1.0: the new firmware did not answer"
    told = update(phase, back if phase == "went-back" else "")
    unknown = [{"instance": "a", "id": "3c71bf4affff", "host": "10.0.0.9"}]
    page = opened(
        open_page, files, Feed(limp(update=told if phase else None, unknown=unknown)), size
    )
    expect(page.get_by_text("3c71bf4affff at 10.0.0.9")).to_be_visible()
    page.screenshot(path=SHOTS / f"bringup-{phase}-{size['width']}.png", full_page=True)
    looks_well(page)
    for name in ("Hold", "Stop"):
        expect(page.get_by_role("button", name=name, exact=True)).to_be_in_viewport()


def test_each_joint_tells_its_place_its_firmware_and_what_it_takes(
    open_page: Open, files: str, feed: Feed
) -> None:
    page = opened(open_page, files, feed)
    rows = page.get_by_role("region", name="Firmware of each joint").get_by_role("row")
    told = [row.get_by_role("cell").all_inner_texts() for row in rows.all()[1:]]
    assert told[0] == [
        "1 of 6, A", "3c71bf4a0000", "up", "0.1.0", "not by an update", "bench-joint",
    ]  # fmt: skip
    assert told[1][3:5] == ["1.5.0", "5a3c5a3c…, on trial"]
    assert told[3][5] == "takes no updates"
    assert told[5][3:] == ["–", "–", "–"]


@pytest.mark.parametrize(
    ("joint", "held", "sentence"),
    [
        ("", file(), "Choose a joint."),
        ("forearm", file(), "forearm takes no firmware over the air: flash it over its cable."),
        (
            "elbow",
            file(board="other"),
            "The image is for the board other, and elbow is a bench-joi",
        ),
        ("elbow", b"\x7fELF" * 100, "joint.bin.signed is no signed image; "),
        (
            "elbow",
            file()[:-7],
            "joint.bin.signed is cut, or its header is damaged: it has 13157 bytes, by its header ",
        ),
    ],
    ids=["no joint", "takes none", "other board", "no image", "cut"],
)
def test_what_keeps_it_from_beginning_is_told_before_anything_is_sent(
    open_page: Open, files: str, feed: Feed, joint: str, held: bytes, sentence: str
) -> None:
    page = opened(open_page, files, feed)
    choose(page, held, joint)
    card = page.get_by_role("region", name="Update", exact=True)
    expect(card).to_contain_text(sentence)
    button = card.get_by_role("button", name="Update")
    expect(button).to_have_attribute("aria-disabled", "true")


def test_a_motor_that_is_on_names_what_to_do_first(open_page: Open, files: str, feed: Feed) -> None:
    feed.first[0]["state"]["joints"][2]["energised"] = True
    page = opened(open_page, files, feed)
    choose(page, file())
    card = page.get_by_role("region", name="Update", exact=True)
    expect(card).to_contain_text("bring the arm to its pose park and its motors off first")
    expect(page.get_by_role("button", name="Motors off…")).to_be_visible()


def test_an_update_by_keyboard_from_the_head_of_the_page_to_its_end(
    open_page: Open, files: str, feed: Feed
) -> None:
    sent: list[tuple[str, bytes | None]] = []

    def answer(route: Route) -> None:
        sent.append((route.request.method, route.request.post_data_buffer))
        route.fulfill(json=update("offered"))

    page = opened(open_page, files, feed)
    page.route("**/api/v1/joints/elbow/update", answer)
    choose(page, file())
    card = page.get_by_role("region", name="Update", exact=True)
    expect(card).to_contain_text("joint.bin.signed: 1.5.0 for the board bench-joint, 13 kB.")
    page.get_by_label("Signed image").focus()
    page.keyboard.press("Tab")
    expect(card.get_by_role("button", name="Update elbow")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator(".said")).to_have_text("")
    assert sent == [("POST", file())]

    feed.say(canned.change(2, set={"update": update("sending")}))
    expect(card.get_by_role("status").last).to_have_text("Sending: sending 1.5.0.")
    expect(card.get_by_text("25 % of 13 kB")).to_be_visible()
    cancel = card.get_by_role("button", name="Cancel the update")
    cancel.focus()
    page.keyboard.press("Enter")
    expect(page.locator(".said")).to_have_text("")
    assert sent[-1][0] == "DELETE"

    feed.say(canned.change(3, set={"update": update("restarting", "restarting with 1.5.0")}))
    expect(cancel).to_have_count(0)
    expect(card).to_contain_text("It cannot be cancelled any more")
    feed.say(canned.change(4, set={"update": update("on-trial", "1.5.0 is on trial")}))
    expect(card.get_by_role("status").last).to_have_text("On trial: 1.5.0 is on trial.")
    done = update("done", "elbow: 1.5.0 confirmed; it was 0.1.0")
    feed.say(canned.change(5, set={"update": done}))
    expect(card.get_by_role("status").last).to_have_text(
        "Done: elbow: 1.5.0 confirmed; it was 0.1.0."
    )
    expect(card.get_by_role("progressbar")).to_have_count(0)


def test_a_joint_of_either_kind_gets_new_firmware_by_the_page(
    tmp_path: Path, open_page: Open, updatable: Updatable
) -> None:
    """No canned answers: real joints and their coordinator."""
    with bench(tmp_path, 1, kind=updatable.language) as made:
        made.ask("key", "firmware", "--data", str(made.data))
        image = tmp_path / "joint.bin"
        image.write_bytes(updatable.data)
        made.ask(
            "joint", "sign", str(image), "--data", str(made.data),
            "--board", updatable.board, "--firmware", updatable.new,
        )  # fmt: skip
        made.simulate()
        made.serve()
        made.until_linked()
        page = open_page(f"{made.url}/#bringup")
        rows = page.get_by_role("region", name="Firmware of each joint").get_by_role("row")
        expect(rows.last).to_contain_text(f"{updatable.old}not by an update{updatable.board}")
        card = page.get_by_role("region", name="Update", exact=True)
        card.get_by_role("combobox", name="Joint").select_option("turntable")
        page.get_by_label("Signed image").set_input_files(tmp_path / "joint.bin.signed")
        page.get_by_role("button", name="Update turntable").click()
        expect(card.get_by_role("status").last).to_have_text(
            f"Done: turntable: {updatable.new} confirmed; it was {updatable.old}.", timeout=60_000
        )
        digest = updatable.header().sha256.hex()
        expect(rows.last).to_contain_text(f"{updatable.new}{digest[:8]}…{updatable.board}")


def test_what_the_coordinator_refuses_is_said(open_page: Open, files: str, feed: Feed) -> None:
    refusal = {
        "type": "urn:unisono:problem:updating", "status": 409,
        "detail": "base is being updated (sending 1.5.0): an update must wait",
    }  # fmt: skip
    page = opened(open_page, files, feed)
    page.route("**/update", lambda route: route.fulfill(status=409, json=refusal))
    choose(page, file())
    page.get_by_role("button", name="Update elbow").click()
    expect(page.locator(".said")).to_contain_text("Base is being updated")


@pytest.mark.parametrize("helps", [True, False])
def test_that_it_may_be_done_again_is_said_only_where_that_helps(
    open_page: Open, files: str, helps: bool
) -> None:
    told = update("failed", "elbow does not take 1.5.0", code="any", may_be_repeated=helps)
    card = opened(open_page, files, Feed(limp(update=told))).get_by_role(
        "region", name="Update", exact=True
    )
    expect(card).to_contain_text("Failed: elbow does not take 1.5.0.")
    expect(card.get_by_text("It may be done again")).to_have_count(1 if helps else 0)


def test_the_commands_for_the_cable_can_be_copied(open_page: Open, files: str, feed: Feed) -> None:
    page = opened(open_page, files, feed)
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.get_by_role("button", name="Copy unisono joint show PORT").click()
    expect(page.get_by_text("Copied: unisono joint show PORT")).to_be_visible()
    assert page.evaluate("navigator.clipboard.readText()") == "unisono joint show PORT"


def test_every_command_that_it_names_is_one_of_the_command_line(
    open_page: Open, files: str, feed: Feed
) -> None:
    from typer.main import get_command

    from coordinator.cli.command import make_app

    page = opened(open_page, files, feed)
    told = page.locator(".steps code").all_inner_texts()
    assert len(told) == 8
    for line in told:
        _, group, name, *rest = line.split()
        command = get_command(make_app()).commands[group].commands[name]  # type: ignore[attr-defined]
        options = {option for one in command.params for option in one.opts}
        assert {word for word in rest if word.startswith("--")} <= options, line
