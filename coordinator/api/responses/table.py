"""Which route answers what, where it does what it is asked."""

from dataclasses import dataclass, field
from typing import Any, Final

from pydantic import BaseModel, TypeAdapter

from coordinator.answers.joint_history import JointHistory
from coordinator.api.responses.arm import (
    ARM,
    CANCELLED_UPDATE,
    SHELF,
    UPDATE,
    UPDATING,
    WARNING,
    Warnings,
)
from coordinator.api.responses.arm_file import FILE_NOW, FILE_WRITTEN, TEXT_LOOKED_AT
from coordinator.api.responses.base import example_of, plain
from coordinator.api.responses.bring_up import BRING_UP
from coordinator.api.responses.homing import HOMING, NewestOfJoint
from coordinator.api.responses.joint_history import HISTORY, WEAR
from coordinator.api.responses.joint_homings import HOMINGS
from coordinator.api.responses.program import CURVES, Begun, Check, Choice, Rehearsal
from coordinator.api.responses.queue import QUEUE
from coordinator.api.responses.report import REPORT, Events, Runs
from coordinator.api.responses.run import OVER, WAY, RunProgress
from coordinator.api.responses.simple import (
    CONTROL,
    Health,
    HomingBegun,
    LoggedIn,
    RunBegun,
    Taken,
    TextSent,
)
from coordinator.api.responses.survey import CANCELLED_SURVEY, SURVEY, SURVEYING
from coordinator.api.responses.taught import (
    TAUGHT,
    ShiftPreview,
    TaughtChanges,
    TaughtResults,
    Unfit,
)
from coordinator.core.surveying import SurveySnapshot
from coordinator.core.updating.updates import UpdateSnapshot

JSON: Final = "application/json"


@dataclass(frozen=True, slots=True)
class DescribedResponse:
    """One answer: its form, an example and what it says. JSON has a `kind`, all else is text."""

    words: str
    kind: type | None
    example: Any
    status: int = 200
    media_type: str = JSON
    headers: dict[str, str] = field(default_factory=dict)
    """What each says, by name."""
    others: dict[str, str] = field(default_factory=dict)
    """The same as text of other media types, for who asks for one: an example of each."""

    @property
    def adapter(self) -> TypeAdapter[Any]:
        """What takes an answer of this kind apart, and describes it."""
        assert self.kind is not None, "text has no form"
        return TypeAdapter(self.kind)


def _response(words: str, kind: type[BaseModel]) -> DescribedResponse:
    return DescribedResponse(words, kind, example_of(kind))


def _told(words: str, example: object, kind: type | None = None) -> DescribedResponse:
    """A value of the core, of which there is an example of the whole."""
    return DescribedResponse(words, kind or type(example), plain(example))


_PLACE: Final = {"Location": "Where it can be followed."}


def _begun(words: str, kind: type[BaseModel]) -> DescribedResponse:
    """Something has begun, and has a place where it can be followed."""
    return DescribedResponse(words, kind, example_of(kind), 202, headers=_PLACE)


_TAKEN: Final = _response("It was taken; what comes of it, `GET /arm` shows.", Taken)
_CONTROL: Final = _told("Who commands motion now.", CONTROL)
_REHEARSAL: Final = _response("How it goes, with what is known so far.", Rehearsal)
_LOGGED_IN: Final = _response("What this client may do now.", LoggedIn)

_QUEUE: Final = _told("The queue as it is now.", QUEUE)
_TAUGHT: Final = _told("What was taught, as it is now.", TAUGHT)

RESPONSES: Final[dict[str, DescribedResponse]] = {
    "GET /healthz": _response("The process is worth keeping.", Health),
    "GET /arm": _told("The arm, its joints and its run now.", ARM),
    "GET /arm/file": DescribedResponse(
        "The exact text of the arm file (TOML), as it was when the coordinator began.",
        None,
        'name = "bench arm"\n',
        media_type="text/plain",
    ),
    "GET /arm/file/now": _told("The arm file as it is on the disk now.", FILE_NOW),
    "POST /arm/file/check": _told("Its mistakes, and what it would change.", TEXT_LOOKED_AT),
    "PUT /arm/file": _told("The arm file as it was written.", FILE_WRITTEN),
    "GET /joints/{name}/homing": _response(
        "What its newest homing that found something has found.", NewestOfJoint
    ),
    "GET /joints/{name}/bring-up": _told("How far its bring-up is.", BRING_UP),
    "POST /joints/{name}/bring-up/{step}": _told("The same, with that step done.", BRING_UP),
    "GET /joints/{name}/bring-up/sheet": DescribedResponse(
        "All that was found, in one file for people, to be saved and printed.",
        None,
        '<!DOCTYPE html>\n<html lang="en"><head><title>Bring-up of elbow</title></head></html>\n',
        media_type="text/html",
        headers={"Content-Disposition": "The file's name."},
    ),
    "POST /joints/{name}/update": DescribedResponse(
        "The update has begun: the image is being offered to the joint.",
        UpdateSnapshot,
        plain(UPDATING),
        202,
        headers=_PLACE,
    ),
    "GET /joints/{name}/update": _told("How its newest update goes or went.", UPDATE),
    "DELETE /joints/{name}/update": _told("The update, cancelled.", CANCELLED_UPDATE),
    "POST /survey": DescribedResponse(
        "The survey has begun.", SurveySnapshot, plain(SURVEYING), 202, headers=_PLACE
    ),
    "GET /survey": _told("How the newest survey goes, or what it found.", SURVEY),
    "DELETE /survey": _told("The survey, cancelled.", CANCELLED_SURVEY),
    "GET /joints/{name}/history": DescribedResponse(
        "What it was, as a table with `format=csv` or `Accept: text/csv`.",
        JointHistory,
        plain(HISTORY),
        others={"text/csv": "utc,stretch_s\r\n2026-05-01T09:00:00+00:00,1800\r\n"},
    ),
    "GET /joints/{name}/wear": _told("What it has done in all, and how its hop wears.", WEAR),
    "GET /joints/{name}/homings": _told("How well it finds its home again.", HOMINGS),
    "GET /homings/{number}": _told("How the homing goes or went.", HOMING),
    "GET /runs": _response("Runs in short, newest first.", Runs),
    "GET /runs/{number}": _told("Where the run is.", OVER, RunProgress),
    "GET /runs/{number}/report": _told("What the run was, or is so far.", REPORT),
    "GET /runs/{number}/program": DescribedResponse(
        "The exact text that was played.", None, "G0 A-35 B-20\nM2\n", media_type="text/plain"
    ),
    "GET /runs/{number}/record": DescribedResponse(
        "All that is kept of the run in one file for people, to be saved and printed.",
        None,
        '<!DOCTYPE html>\n<html lang="en"><head><title>Run 1</title></head></html>\n',
        media_type="text/html",
        headers={"Content-Disposition": "The file's name."},
    ),
    "GET /runs/{number}/way": _told("Where joints would be as that line begins.", WAY),
    "GET /events": _response("What happened and was commanded, newest first.", Events),
    "POST /texts": DescribedResponse(
        "It is here, until another one comes.", TextSent, example_of(TextSent), 201
    ),
    "POST /check": _response("What the program would do, or its mistakes.", Check),
    "POST /check/curves": _told("What each joint does over path time.", CURVES),
    "POST /joints/{name}/home/accept": _TAKEN,
    "POST /home": _begun("The homing has begun.", HomingBegun),
    "POST /runs": _begun("The run has begun: its joints are being loaded.", RunBegun),
    "POST /hold": _TAKEN,
    "POST /resume": _TAKEN,
    "POST /stop": _TAKEN,
    "POST /override": _TAKEN,
    "POST /output": _TAKEN,
    "POST /jog": _TAKEN,
    "POST /step": _TAKEN,
    "POST /go": _TAKEN,
    "POST /blink": _TAKEN,
    "GET /control": _CONTROL,
    "POST /control/take": _CONTROL,
    "POST /control/release": _CONTROL,
    "GET /warnings": _response("The warnings that stand, oldest first.", Warnings),
    "POST /warnings/{number}/acknowledge": _told("The warning, acknowledged.", WARNING),
    "POST /warnings/{number}/shelve": _told("Until when its sign is put aside.", SHELF),
    "POST /warnings/{number}/unshelve": _told("What was taken off the shelf.", SHELF),
    "GET /taught": _TAUGHT,
    "POST /taught/edits": _TAUGHT,
    "POST /taught/undo": _TAUGHT,
    "POST /taught/redo": _TAUGHT,
    "POST /taught/shift": _response(
        "What would become of each waypoint, and of programs that change.", ShiftPreview
    ),
    "GET /taught/results": _response("The newest run of each that was played.", TaughtResults),
    "POST /taught/check": _response("What keeps the text from being a sequence.", Unfit),
    "GET /taught/changes": _response("What was changed, newest first.", TaughtChanges),
    "GET /taught/sequences/{number}/program": DescribedResponse(
        "The sequence as a program, now or as it was after a change.",
        None,
        "(sequence one tray)\nG90 G94\nG0 A-35 B-20 (above the tray)\nM2\n",
        media_type="text/plain",
    ),
    "PUT /taught/sequences/{number}/program": _TAUGHT,
    "GET /taught/programs/{number}/text": DescribedResponse(
        "The text of a kept program, now or as it was after a change.",
        None,
        "G90 G94\nG0 A-35 B-20\nM2\n",
        media_type="text/plain",
    ),
    "GET /queue": _QUEUE,
    "POST /queue/edits": _QUEUE,
    "POST /queue/play": _begun("The first run of the queue has begun.", RunBegun),
    "GET /session": _LOGGED_IN,
    "POST /session": _LOGGED_IN,
    "DELETE /session": _LOGGED_IN,
    "GET /rehearsals": _response("What was asked for last.", Choice),
    "POST /rehearsals": _begun("The rehearsal has begun.", Begun),
    "GET /rehearsals/{number}": _REHEARSAL,
    "DELETE /rehearsals/{number}": _REHEARSAL,
    "GET /rehearsals/{number}/plot": DescribedResponse(
        "What was seen so far, drawn.",
        None,
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 10 10"/>',
        media_type="image/svg+xml",
    ),
}
"""By method and path below the API's prefix."""
