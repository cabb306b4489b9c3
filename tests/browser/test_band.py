"""The band's words, each from what a real coordinator and software joints did.

One arm goes through all of them, from joints that are not switched on to a coordinator that is
killed. Pictures at both sizes are left in build/browser.
"""

import os
import re
import signal
from pathlib import Path
from urllib.parse import urlsplit

from playwright.sync_api import Page, expect

from tests.browser.conftest import DESKTOP, PHONE, SHOTS, Open
from tests.browser.hands import Mouse
from tests.browser.looks import looks_well
from tests.e2e.harness import bench

PATIENCE_MS = 60_000
SHORT = "G0 A-150\nM0\nG0 A-155\nM2\n"
LONG = "G1 F300 A150\nM2\n"
"""In which only the first joint moves, slower than any of this takes."""
_STOPS_AT_A_WORD = """
    const Real = WebSocket;
    const clock = performance.now.bind(performance);
    let stood = null, wanted = null, told = null, seq = null, goes_on = true;
    const look = () => {
        const has_it = told !== null && told.word === wanted;
        if (has_it && (wanted !== "starts" || told.at_us !== null)) stood ??= clock();
    };
    performance.now = () => stood ?? clock();
    window.stand_at = (word) => { wanted = word; stood = null; look(); };
    window.stands = () => stood !== null;
    window.go_on = () => { wanted = stood = null; goes_on = false; };
    window.goes_on = () => goes_on;
    window.WebSocket = class extends Real {
        set onmessage(hear) {
            super.onmessage = (event) => {
                if (stood !== null) return;
                const message = JSON.parse(event.data);
                // What follows a gap is not taken: the page asks anew.
                if (message.type === "whole" || message.seq === seq + 1) {
                    seq = message.seq;
                    goes_on = true;
                    told = (message.state ?? message.set).condition ?? told;
                    look();
                }
                hear(event);
            };
        }
    };
"""
"""The page's time stands, and nothing more is heard, once the band has a word: for its picture."""


class Words:
    """A page whose words are waited for and pictured."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.hand = Mouse(page)

    def awaited(self, word: str) -> None:
        """From now on, stand once the band says so."""
        self.page.evaluate("(word) => window.stand_at(word)", word)

    def picture(self, word: str, cause: str = "") -> None:
        """Wait for what is awaited, look at it at both sizes, and go on."""
        self.page.wait_for_function("() => window.stands()", timeout=PATIENCE_MS)
        self.take(word.replace(" ", "-"), word, cause)
        self.page.evaluate("() => window.go_on()")
        self.page.wait_for_function("() => window.goes_on()", timeout=PATIENCE_MS)

    def take(self, name: str, word: str, cause: str = "") -> None:
        """Look at what the page shows now."""
        sign = self.page.locator(".sign")
        for size in (DESKTOP, PHONE):
            self.page.set_viewport_size(size)  # type: ignore[arg-type]
            expect(sign.locator(".says")).to_contain_text(word)
            expect(sign.locator(".cause")).to_have_text(re.compile(cause or "^$"))
            self.page.screenshot(path=SHOTS / f"band-{name}-{size['width']}.png")
            looks_well(self.page)
        self.page.set_viewport_size(DESKTOP)  # type: ignore[arg-type]

    def says(self, text: str) -> None:
        """Wait until the band says so."""
        expect(self.page.locator(".sign")).to_contain_text(text, timeout=PATIENCE_MS)

    def lanes(self, *words: str) -> None:
        """Wait until the lanes say so."""
        expect(self.page.locator(".lane .state")).to_have_text([*words], timeout=PATIENCE_MS)

    def press(self, name: str) -> None:
        self.hand.press(self.page.get_by_role("button", name=name, exact=True))

    def play(self, text: str) -> None:
        """Check a program and play it."""
        self.hand.press(self.page.get_by_role("link", name="Play", exact=True))
        self.page.get_by_label("Name").fill("tray.nc")
        self.page.get_by_role("textbox", name="Program").fill(text)
        self.press("Check")
        self.press("Play")

    def resume(self) -> None:
        """Keep Resume pressed."""
        button = self.page.get_by_role("button", name="Resume", exact=True)
        self.hand.keep_pressed(button, lambda: expect(button).to_be_disabled(timeout=PATIENCE_MS))


def test_every_word_of_the_band_is_said_in_its_situation(tmp_path: Path, open_page: Open) -> None:
    with bench(tmp_path, count=2) as arm:
        coordinator = arm.serve()
        page = open_page(
            arm.url, bypass_csp=True, before=lambda page: page.add_init_script(_STOPS_AT_A_WORD)
        )
        words = Words(page)
        first, second = arm.joints

        words.awaited("not known")
        words.picture("not known", "are offline")
        words.lanes("offline", "offline")
        # On a link like a home's a start is set long enough ahead for its word to be seen.
        lonely = arm.simulate(second, network="home")
        words.lanes("offline", "motors off, not homed")
        arm.simulate(first, network="home")
        words.awaited("motors off")
        words.picture("motors off")
        words.lanes(*["motors off, not homed"] * 2)

        words.awaited("homing")
        joints = page.get_by_role("region", name="Homing", exact=True)
        names = joints.locator(".what strong").all_inner_texts()
        words.press(f"Home {names[0]}")
        words.picture("homing", f"^({'|'.join(arm.joints)})")
        expect(joints.locator("li").first).not_to_have_class("blind", timeout=PATIENCE_MS)
        words.press(f"Home {names[1]}")
        words.says("homing")
        words.awaited("at rest")
        expect(page.locator(".runbar")).to_contain_text("all joints", timeout=PATIENCE_MS)
        words.picture("at rest")
        words.lanes("at rest", "at rest")
        # The button that was pressed has gone with its card.
        assert page.evaluate("() => document.activeElement.id") == "main"

        words.awaited("starts")
        words.play(SHORT)
        words.picture("starts", "tray.nc")
        words.awaited("paused")
        words.picture("paused", "pause of line 2")
        words.resume()
        expect(page.get_by_role("region", name="The run that ended")).to_contain_text(
            "finished", timeout=PATIENCE_MS
        )

        words.play(LONG)
        # The joints say so a little later than the coordinator knows it.
        words.lanes("moving", "waits")
        words.awaited("moving")
        words.picture("moving", "tray.nc")
        words.awaited("held")
        words.press("Hold")
        words.picture("held", "operator")
        words.resume()
        words.says("moving")
        words.awaited("stopped")
        words.press("Stop")
        words.picture("stopped", "operator")
        words.lanes("stopped", "stopped")

        # A joint that hears nothing has no stop, and the page says so above all else.
        os.kill(lonely.pid, signal.SIGSTOP)
        words.press("Stop")
        alarm = page.locator(".alarm")
        expect(alarm).to_contain_text(f"The stop has not reached {second}", timeout=PATIENCE_MS)
        words.says("By its own rules at rest by")
        words.take("stop-not-confirmed", "not known", "not confirmed")
        expect(page.locator(".lane .state").nth(1)).to_have_text("offline, stop not confirmed")
        os.kill(lonely.pid, signal.SIGCONT)
        expect(alarm).to_have_count(0, timeout=PATIENCE_MS)

        coordinator.kill()
        words.says("This page does not hear the coordinator.")
        words.says("by its own rules at rest by")
        expect(page.locator(".lane.stale")).to_have_count(2)
        page.get_by_role("button", name="Stop", exact=True).click()
        expect(page.locator(".said")).to_contain_text("The stop was not delivered")
        words.take("coordinator-lost", "not known", "not confirmed")

        arm.start(
            "serve", "--json", "--arm", str(arm.arm), "--data", str(arm.data),
            "--port", str(urlsplit(arm.url).port),
        )  # fmt: skip
        expect(page.locator(".lane:not(.stale)")).to_have_count(2, timeout=PATIENCE_MS)
        expect(page.get_by_text("This page does not hear the coordinator")).to_have_count(0)
