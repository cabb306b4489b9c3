"""The sheet of a bring-up: one HTML file for people, to be printed and kept with the joint."""

from collections.abc import Mapping, Sequence
from typing import Final

from coordinator.answers.bring_up import BringUp, BringUpStep, Figure, StepState
from coordinator.bringup.progress import Done
from coordinator.run_record.markup import (
    NOT_KNOWN,
    Html,
    bullets,
    document,
    element,
    facts,
    paragraph,
    section,
    table,
    text,
)

_STATES: Final = {
    StepState.DONE: "done",
    StepState.NEXT: "TO BE DONE NOW",
    StepState.WAITS: "to be done",
}


def bring_up_sheet(
    arm: str, told: BringUp, done: Sequence[Done], made_utc: str, made_by: str
) -> str:
    """The file's text: no script, and nothing that it loads. `done` oldest first."""
    newest = {one.step: one for one in done}
    title = f"Bring-up of {told.joint}, number {told.place} of {arm}"
    body = [
        element("h1", text(title)),
        paragraph(_outcome(told), kind="outcome"),
        section(
            "Joint",
            facts(
                [
                    ("Controller", told.controller),
                    ("Firmware", told.firmware),
                    ("Sheet written (UTC)", made_utc),
                ]
            ),
        ),
        section(
            "Steps",
            table(
                "Steps",
                ("step", "state", "done (UTC)", "by"),
                [(one.title, _STATES[one.state], one.done_utc, one.who) for one in told.steps],
            ),
        ),
        *(_step(one, newest[one.step]) for one in told.steps if one.step in newest),
        _history(told),
        _foot(made_by),
    ]
    return document(title, body)


def _outcome(told: BringUp) -> str:
    if told.complete:
        return "Every step is done."
    left = [one.title for one in told.steps if one.state is not StepState.DONE]
    return (
        f"NOT COMPLETE: {len(left)} of {len(told.steps)} steps are to be done: {', '.join(left)}."
    )


def _step(step: BringUpStep, done: Done) -> Html:
    """One that was done, with all that was found, also where it counts no more."""
    inside = [facts([("Done (UTC)", step.done_utc), ("By", step.who), *_shown(step.figures)])]
    if step.because:
        inside.insert(0, bullets(f"COUNTS NO MORE: {one}" for one in step.because))
    if done.picture is not None:
        # It was drawn by this program's own pictures, which escape every text in them.
        inside.append(Html(done.picture))
    return section(step.title, *inside, element("h3", text("Done with")), facts(step.basis.items()))


def _history(told: BringUp) -> Html:
    """Over every swap: what counts no more is found nowhere else."""
    rows = [
        (
            one.utc,
            one.step,
            one.who,
            one.controller,
            ", ".join(f"{name} {_known(value)}" for name, value in one.figures.items()),
        )
        for one in told.history
    ]
    headings = ("when (UTC)", "step", "by", "controller", "what was found")
    return section("All that was done and said in this place", table("History", headings, rows))


def _known(value: Figure) -> object:
    return NOT_KNOWN if value is None else _figure(value)


def _shown(figures: Mapping[str, Figure]) -> list[tuple[str, object]]:
    return [(name, _figure(value)) for name, value in figures.items()]


def _figure(value: Figure) -> object:
    return f"{value:.6g}" if isinstance(value, float) else value


def _foot(made_by: str) -> Html:
    return element(
        "footer",
        paragraph(
            f"Written by Unisono {made_by} from the coordinator's database. A step says what was "
            "so when it was done, and what somebody said; nobody checks that. This file bears no "
            "signature: whoever has it can change it. Nothing here is a statement of safety; a "
            "software stop is no safety-rated emergency stop."
        ),
    )
