"""Which route answers what, where it does what it is asked."""

from dataclasses import dataclass, field
from typing import Any, Final

from pydantic import BaseModel

from coordinator.api.answers.arm import Arm, StandingWarning, Warnings
from coordinator.api.answers.base import example_of
from coordinator.api.answers.homing import Homing, NewestOfJoint
from coordinator.api.answers.program import Begun, Check, Choice, Rehearsal
from coordinator.api.answers.report import Events, Report, Runs
from coordinator.api.answers.run import RunOver, RunProgress
from coordinator.api.answers.simple import (
    ControlState,
    Health,
    HomingBegun,
    LoggedIn,
    RunBegun,
    Taken,
)

JSON: Final = "application/json"


@dataclass(frozen=True, slots=True)
class Told:
    """One answer: its form, an example and what it says. JSON has a `kind`, all else is text."""

    words: str
    kind: type[BaseModel] | None
    example: Any
    status: int = 200
    media_type: str = JSON
    headers: dict[str, str] = field(default_factory=dict)
    """What each says, by name."""


def _told(words: str, kind: type[BaseModel], of: type[BaseModel] | None = None) -> Told:
    return Told(words, kind, example_of(of or kind))


def _begun(words: str, kind: type[BaseModel]) -> Told:
    """Something has begun, and has a place where it can be followed."""
    headers = {"Location": "Where it can be followed."}
    return Told(words, kind, example_of(kind), 202, headers=headers)


_TAKEN: Final = _told("It was taken; what comes of it, `GET /arm` shows.", Taken)
_CONTROL: Final = _told("Who commands motion now.", ControlState)
_REHEARSAL: Final = _told("How it goes, with what is known so far.", Rehearsal)
_LOGGED_IN: Final = _told("What this client may do now.", LoggedIn)

ANSWERS: Final[dict[str, Told]] = {
    "GET /healthz": _told("The process is worth keeping.", Health),
    "GET /arm": _told("The arm, its joints and its run now.", Arm),
    "GET /joints/{name}/homing": _told(
        "What its newest homing that found something has found.", NewestOfJoint
    ),
    "GET /homings/{number}": _told("How the homing goes or went.", Homing),
    "GET /runs": _told("Runs in short, newest first.", Runs),
    "GET /runs/{number}": _told("Where the run is.", RunProgress, RunOver),
    "GET /runs/{number}/report": _told("What the run was, or is so far.", Report),
    "GET /runs/{number}/program": Told(
        "The exact text that was played.", None, "G0 A-35 B-20\nM2\n", media_type="text/plain"
    ),
    "GET /events": _told("What happened and was commanded, newest first.", Events),
    "POST /check": _told("What the program would do, or its mistakes.", Check),
    "POST /home": _begun("The homing has begun.", HomingBegun),
    "POST /runs": _begun("The run has begun: its joints are being loaded.", RunBegun),
    "POST /hold": _TAKEN,
    "POST /resume": _TAKEN,
    "POST /stop": _TAKEN,
    "POST /override": _TAKEN,
    "POST /jog": _TAKEN,
    "POST /blink": _TAKEN,
    "GET /control": _CONTROL,
    "POST /control/take": _CONTROL,
    "POST /control/release": _CONTROL,
    "GET /warnings": _told("The warnings that stand, oldest first.", Warnings),
    "POST /warnings/{number}/seen": _told("The warning, seen.", StandingWarning),
    "GET /session": _LOGGED_IN,
    "POST /session": _LOGGED_IN,
    "DELETE /session": _LOGGED_IN,
    "GET /rehearsals": _told("What was asked for last.", Choice),
    "POST /rehearsals": _begun("The rehearsal has begun.", Begun),
    "GET /rehearsals/{number}": _REHEARSAL,
    "DELETE /rehearsals/{number}": _REHEARSAL,
    "GET /rehearsals/{number}/plot": Told(
        "What was seen so far, drawn.",
        None,
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"/>',
        media_type="image/svg+xml",
    ),
}
"""By method and path below the API's prefix."""
