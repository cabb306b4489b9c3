"""The sheet: every figure and picture, what counts no more, and no text that is markup."""

from dataclasses import replace
from xml.etree import ElementTree

from coordinator.bringup.sheet import bring_up_sheet
from coordinator.bringup.steps import STEPS
from tests.coordinator.bringup.kit import ELBOW, brought_up, do, now, said_same_body

ALL = brought_up()
HTML = "{http://www.w3.org/1999/xhtml}"
SVG = "{http://www.w3.org/2000/svg}svg"


def sheet_of(told: object, done: object) -> ElementTree.Element:
    text = bring_up_sheet("bench arm", told, done, "2026-05-02T10:00:00Z", "0.1.0")  # type: ignore[arg-type]
    return ElementTree.fromstring(text.partition("\n")[2])


def words(page: ElementTree.Element) -> str:
    return " ".join("".join(page.itertext()).split())


def test_it_has_every_step_with_its_figures_and_pictures() -> None:
    page = sheet_of(now(ALL), ALL)
    told = words(page)
    assert "Every step is done." in told
    for step, one in zip(STEPS, ALL, strict=True):
        assert step.title in told
        for name, value in one.figures.items():
            assert name in told
            if isinstance(value, float):
                assert f"{value:.6g}" in told
    assert len(page.findall(f".//{SVG}")) == 3
    assert page.findall(f".//{HTML}script") == []
    assert "no safety-rated emergency stop" in told


def test_what_is_lacking_and_what_counts_no_more_stands_first() -> None:
    told = words(sheet_of(now(ALL[:3]), ALL[:3]))
    assert "NOT COMPLETE: 7 of 10 steps are to be done: Heat sensor, supply and fan" in told
    swapped = replace(ELBOW, gear_ratio=15.0)
    told = words(sheet_of(now(ALL, swapped), ALL))
    assert "COUNTS NO MORE: gear was 200 full steps, 16 microsteps, gear ratio 20" in told


def test_what_was_found_before_a_swap_stays_on_it() -> None:
    new = replace(ELBOW, id="3c71bf4aff03")
    done = said_same_body(ALL, new)
    for step in STEPS[:6]:
        done = do(step, done, new)
    told = words(sheet_of(now(done, new), done))
    history = told[told.index("All that was done and said in this place") :]
    for one in ALL:
        assert f"{one.utc}{one.step}the owner{ELBOW.id}" in history
    assert f"controller-onlythe owner{new.id}" in history
    assert history.count("sensor_width_deg 3,") == 2


def test_what_people_call_themselves_is_no_markup() -> None:
    done = [*ALL[:-1], replace(ALL[-1], who="<script>alert(1)</script>")]
    page = sheet_of(now(done), done)
    assert page.findall(f".//{HTML}script") == []
    assert "<script>alert(1)</script>" in words(page)
