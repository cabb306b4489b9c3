"""Steps asked for on the page end at their exact sum, in counts, or the page says what did not.

The joints' links are hostile. How far a joint truly went is taken from the log of the simulated
world; the sum is made here, of what was pressed.
"""

from collections import Counter
from pathlib import Path
from random import Random
from typing import Final

import pytest
from playwright.sync_api import Page

from coordinator.config.arm import load_arm
from tests.browser.between import Between
from tests.browser.conftest import Open, rests, until_free
from tests.e2e.harness import Bench, bench, until
from tests.lab.scale import often

JOINT: Final = "elbow"
BATCHES: Final = often(6, 100)
MOST_BATCHES: Final = 5 * BATCHES
"""Where the machine is so slow that each press is a motion of its own, more of them are made until
one is whole.
"""
PRESSES: Final = 10
"""In a batch, as fast as the browser takes them."""
ANGLES: Final = ("0.01", "0.1", "1")
PATIENCE_S: Final = 180.0
SHORT: Final = f"{JOINT}: its steps ended before it was at"


def pressed(page: Page, random: Random, angle: str) -> tuple[list[float], int]:
    """Press a joint's controls, by keys or by the mouse; the angles in the order of presses, and at
    how many of them the page showed that nothing can be pressed: the joint was not heard.
    """
    by_keys = random.random() < 0.5
    made, dead = [], 0
    for _ in range(PRESSES):
        word, sign = random.choice((("larger", 1), ("smaller", -1)))
        button = page.get_by_role("button", name=f"{JOINT} to {word} angles")
        was_off = button.get_attribute("aria-disabled") == "true"
        if by_keys:
            button.press(random.choice(("Enter", " ")))
        else:
            button.click()
        dead += was_off or button.get_attribute("aria-disabled") == "true"
        made.append(sign * float(angle))
    return made, dead


def true_rests(arm: Bench) -> list[float]:
    """Where the joint truly came to rest, in counts, the newest last."""
    return [one["position"] for one in arm.truths() if one["joint"] == JOINT]


def said_now(page: Page) -> str:
    """What the page says of the last command."""
    return page.locator(".said").text_content() or ""


def short_lines(page: Page) -> Counter[str]:
    """What the page says of steps that ended early."""
    return Counter(page.locator(".journal li", has_text=SHORT).all_inner_texts())


def home(arm: Bench) -> None:
    """On such links a homing may take some tries."""
    until(lambda: arm.unisono("home").returncode == 0, "all joints homed", PATIENCE_S)


def rested(arm: Bench, page: Page) -> bool:
    """Whether the arm rests; what the page said is taken in meanwhile."""
    page.evaluate("0")
    return rests(arm)


@pytest.mark.timeout(3600)
def test_steps_asked_for_on_the_page_end_at_their_sum_or_it_says_which_do_not(
    tmp_path: Path, open_page: Open
) -> None:
    random, between = Random(1), Between()
    counts: Counter[str] = Counter()
    with bench(tmp_path) as arm:
        arm.simulate(network="hostile")
        arm.serve()
        arm.until_linked()
        home(arm)
        per_degree = next(
            one.counts_per_degree for one in load_arm(arm.arm).joints if one.name == JOINT
        )
        page = open_page(arm.url, before=between.attach)
        page.get_by_role("button", name="Jog…").click()
        for batch in range(MOST_BATCHES):
            if batch >= BATCHES and counts["batches exact"]:
                break
            angle = random.choice(ANGLES)
            until_free(arm)
            page.get_by_role("button", name=f"{angle}° a press", exact=True).click()
            before, said = true_rests(arm), short_lines(page)
            wishes, refused = len(between.wishes), len(between.refused)
            made, dead = pressed(page, random, angle)
            alive = PRESSES - dead

            def all_said(so_far: int = wishes, least: int = alive) -> bool:
                page.evaluate("0")
                steps = [one for one in between.wishes[so_far:] if one["type"] == "step"]
                return len(steps) >= least or "not sent" in said_now(page)

            until(all_said, "the page says each step")
            until(lambda: rested(arm, page), "at rest", PATIENCE_S)
            steps = [one for one in between.wishes[wishes:] if one["type"] == "step"]
            sent = iter(made)
            assert all(one["by_deg"] in sent for one in steps), "in the order of presses"
            counts["not sent, and shown"] += PRESSES - len(steps)
            not_taken = {one["number"] for one in between.refused[refused:]}
            taken = [one["by_deg"] for one in steps if one["number"] not in not_taken]
            counts["steps"] += PRESSES
            counts["refused"] += len(steps) - len(taken)
            told = said_now(page)
            assert told or not not_taken, "what was refused is said"
            if short_lines(page) - said:
                counts["batches cut short, and told"] += 1
                continue
            after = true_rests(arm)
            off = after[-1] - before[-1] - round(sum(taken) * per_degree)
            # What begins from rest begins at a whole count (design section 5.7).
            rests_between = max(0, len(after) - len(before) - 1)
            most = (rests_between + 2) / 2 if rests_between else 0.0
            assert abs(off) <= most + 1e-6, (taken, off, rests_between, told)
            counts["batches exact, of several motions" if rests_between else "batches exact"] += 1
        page.close()
    print(dict(counts))  # noqa: T201 - what the long version showed
    assert counts["batches exact"]
