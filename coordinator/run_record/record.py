"""The whole record of one run: its parts in the order in which a stranger needs them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from coordinator.codes.outcome import last_place
from coordinator.run_record.conduct import conducted, journal_part
from coordinator.run_record.joints import joints_part
from coordinator.run_record.kept import Kept, since
from coordinator.run_record.listing import digest, program_part
from coordinator.run_record.loops import asked_loops, loops_part
from coordinator.run_record.markup import (
    Html,
    bullets,
    document,
    element,
    facts,
    paragraph,
    section,
    text,
)
from coordinator.run_record.starts import starts_part

_IN_WORDS: Final = {
    "playing": "The run was not over as this was written: it was under way, and may be still.",
    "held": "The run was not over as this was written: it was held on its path.",
    "paused": "The run was not over as this was written: it was paused.",
    "finished": "The run was played to its end.",
    "stopped": "The run was stopped before its end.",
    "faulted": "The run was ended by a fault.",
    "refused": "The run was refused: it did not begin, or could not go on.",
    "lost": "The run was lost: nobody saw its end, and where it was cut off is not known for sure.",
}
_NO_OUTCOME: Final = "What became of the run is not known."
_SWITCHES: Final = (
    ("block delete", "block_delete"), ("optional stop", "optional_stop"),
    ("line by line", "step_by_line"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class WhatIsKept:
    """All that a record is made of."""

    report: Mapping[str, Any]
    """As it is kept: of an older run members may lack."""
    program: str | None
    """The exact text that was played, None where it is not known."""
    journal: Sequence[Mapping[str, Any]] | None
    """Lines of the run, oldest first; None where the journal does not know it."""
    made_utc: str
    made_by: str
    """Version of Unisono."""


def run_record(kept: WhatIsKept) -> str:
    """The HTML file's text: one file, with no script, and nothing that it loads."""
    report = Kept(kept.report)
    title = f"Run {report.whole('run') or '?'}: {report.text('name') or 'a program without a name'}"
    lines = None if kept.journal is None else [Kept(one) for one in kept.journal]
    body = [
        element("h1", text(title)),
        *_outcome(report),
        _what(report, kept),
        starts_part(report),
        loops_part(report),
        conducted(report),
        journal_part(report, lines),
        joints_part(report),
        section("What this record does not know", bullets(_unknown(report, kept))),
        program_part(kept.program, report.whole("run")),
        _foot(kept),
    ]
    return document(title, body)


def _outcome(report: Kept) -> list[Html]:
    """What is not confirmed comes before what is."""
    outcome, found = report.text("outcome"), []
    if unstopped := report.words("stop_unconfirmed"):
        found.append(paragraph(f"STOP NOT CONFIRMED by {', '.join(unstopped)}", kind="outcome"))
    told = _NO_OUTCOME if outcome is None else _IN_WORDS.get(outcome, f"The run was {outcome}.")
    found.append(paragraph(told, kind="outcome"))
    if message := report.text("message"):
        found.append(paragraph(f"Why: {message}"))
    if where := _last_place(report):
        found.append(paragraph(f"{where[0].upper()}{where[1:]}."))
    if level := report.text("stop_level"):
        found.append(paragraph(f"Level of the stop that ended it: {level}."))
    return found


def _last_place(report: Kept) -> str:
    """At which line, loop and part a run was that did not finish; empty where that is not known."""
    known, starts, loops = report.object("production"), report.objects("starts"), None
    loop = None
    if known is not None and not report.lacks("loops") and report.whole("loops") != 1:
        loops, loop = report.whole("loops"), (known.whole("done") or 0) + 1
    part = starts[-1].whole("part") if starts else None
    return last_place(report.text("outcome") or "", report.whole("line"), loop, loops, part)


def _what(report: Kept, kept: WhatIsKept) -> Html:
    line = report.whole("from_line")
    begins = (
        None if report.lacks("from_line") else "the beginning" if line is None else f"line {line}"
    )
    return section(
        "What, when and by whom",
        facts(
            [
                ("Arm", report.text("arm")),
                ("SHA-256 of the arm file", report.text("arm_file_sha256")),
                ("Program", report.text("name")),
                ("SHA-256 of its text", None if kept.program is None else digest(kept.program)),
                ("Commanded by", report.text("asked_by")),
                ("Began (UTC)", report.text("began_utc")),
                ("Ended (UTC)", report.text("ended_utc")),
                ("Took", since(report, report.number("ended_at_us"))),
                ("To be played", asked_loops(report)),
                ("Played from", begins),
                *((f"Switch {name}", _on_off(report.flag(key))) for name, key in _SWITCHES),
                ("Played by Unisono", report.text("unisono_version")),
            ]
        ),
    )


def _on_off(switch: bool | None) -> str | None:
    return None if switch is None else "on" if switch else "off"


def _unknown(report: Kept, kept: WhatIsKept) -> list[str]:
    """A sentence for each thing that is not known."""
    found = [
        "Warnings that stood already as the run began: a report does not keep them.",
        "Loads, belts, cables and whatever stood in the arm's reach: no joint measures them.",
        "Who stood at the arm: whoever commands says what they are called, and nobody checks it.",
    ]
    if report.text("arm") is None:
        found.append("Which arm file the arm had: this run is from before that was kept.")
    if report.text("asked_by") is None:
        found.append("Who commanded the run.")
    if kept.program is None:
        found.append("The program's text.")
    if report.number("ended_at_us") is None:
        found.append("When the run ended, or whether it has.")
    if kept.journal is None:
        found.append(
            "What was commanded while it went on: the journal has no line of its beginning."
        )
    found += [
        f"Not in the database: {one.text('what')}, since {one.text('utc')}: {one.text('why')}"
        for one in report.objects("unwritten")
    ]
    return found


def _foot(kept: WhatIsKept) -> Html:
    return element(
        "footer",
        paragraph(
            f"Written {kept.made_utc} (UTC) by Unisono {kept.made_by} from the report, the program "
            "and the journal in the coordinator's database. Times in s count from when the run "
            "was commanded. This file bears no signature: whoever has it can change it. Nothing "
            "here is a statement of safety; a software stop is no safety-rated emergency stop."
        ),
    )
