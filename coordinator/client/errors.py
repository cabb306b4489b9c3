"""What goes wrong when a coordinator is asked; each text is a sentence."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from coordinator.client.values import (
        HomingSnapshot,
        KeptReport,
        Problem,
        SurveySnapshot,
        UpdateSnapshot,
    )


class ClientError(Exception):
    """The coordinator did not do what it was asked; the text is a sentence.

    ClientError
     ├── Unreachable        nothing answers there, or not as a coordinator does
     │    ├── NobodyThere   no connection can be made
     │    └── NotUnderstood its answer is not what this client knows: another version
     ├── Closed             this client was closed before it was asked
     ├── OtherLoop          an AsyncClient is asked in another event loop than it was before
     ├── WrongInput         the request asks for what cannot be
     ├── Refused            the arm is not in a state for it, or the client may not ask for it
     ├── JogLapsed          a jog was not said again in time
     └── NotFinished        it began, and did not end as it was asked
          ├── HomingFailed
          ├── UpdateFailed
          ├── SurveyEnded
          └── RunNotFinished  stopped, faulted, lost
               └── RunHeld    it rests on its path, and may be resumed

    `code` is stable, for programs: the end of a problem's `type`, where the coordinator told a
    problem (`GET /openapi.json` lists them), else empty.
    """

    code = ""


class Unreachable(ClientError):
    """Nothing answers at the address, or not as a coordinator does."""


class NobodyThere(Unreachable):
    """No connection can be made: nobody was asked anything."""


class NotUnderstood(Unreachable):
    """An answer lacks what is needed, or has it in another form. It was carried out all the same.

    `member` is where in the answer, such as `joints.2.position_deg`.
    """

    def __init__(self, message: str, member: str) -> None:
        super().__init__(message)
        self.member = member


class Closed(ClientError):
    """This client was closed: nobody was asked anything."""


class OtherLoop(ClientError):
    """The client's connections belong to another event loop: nobody was asked anything."""


class WrongInput(ClientError):
    """The input is wrong. `mistakes` are a program's, with line and column."""

    def __init__(
        self, message: str, mistakes: Sequence["Problem"] = (), code: str = "invalid"
    ) -> None:
        super().__init__(message)
        self.mistakes = tuple(mistakes)
        self.code = code


class Refused(ClientError):
    """The arm or its coordinator refused, and nothing has changed."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


class JogLapsed(ClientError):
    """A jog was not said again in time: the joints come to rest by themselves."""


class NotFinished(ClientError):
    """It began, and did not end as it was asked."""


class HomingFailed(NotFinished):
    """A homing ended before all joints were homed. `homing` tells how it went."""

    def __init__(self, homing: "HomingSnapshot") -> None:
        super().__init__(f"homing failed: {homing.message}")
        self.homing = homing


class UpdateFailed(NotFinished):
    """A joint's new firmware does not run. `update` tells what became of it."""

    def __init__(self, update: "UpdateSnapshot") -> None:
        super().__init__(update.message)
        self.update = update
        self.code = update.code


class SurveyEnded(NotFinished):
    """A survey of links was cancelled, or something came in between. `survey` tells what."""

    def __init__(self, survey: "SurveySnapshot") -> None:
        super().__init__(survey.message)
        self.survey = survey


class RunNotFinished(NotFinished):
    """A run did not come to its end. `report` tells what it was so far; `outcome` is the word."""

    def __init__(self, message: str, report: "KeptReport") -> None:
        super().__init__(message)
        self.report = report


class RunHeld(RunNotFinished):
    """A run rests on its path: `resume` goes on, `stop` ends it."""
