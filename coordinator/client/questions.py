"""All that can be asked of a coordinator, whatever carries it (`transport.py`).

Names, units and errors here are those of both clients: the methods of `Client` are these.
"""

import contextlib
import time
from collections.abc import AsyncIterator, Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import datetime
from typing import TYPE_CHECKING, Final, Literal, Protocol, TypeVar, cast
from urllib.parse import quote, urlencode

from coordinator.answers.bring_up import BringUp
from coordinator.answers.control import ControlAsked
from coordinator.answers.joint_history import JointHistory, JointWear
from coordinator.answers.joint_homings import JointHomings
from coordinator.answers.queue import Queue
from coordinator.answers.records import Event, RunInShort
from coordinator.answers.way import WayBack
from coordinator.client.asking import Answer, Asking
from coordinator.client.errors import (
    ClientError,
    Closed,
    HomingFailed,
    NotFinished,
    OtherLoop,
    RunHeld,
    RunNotFinished,
    SurveyEnded,
    Unreachable,
    UpdateFailed,
    WrongInput,
)
from coordinator.client.transport import File
from coordinator.codes.link_word import LinkWord
from coordinator.codes.outcome import Outcome
from coordinator.codes.survey_word import SurveyPhase
from coordinator.codes.update_phase import UpdatePhase
from coordinator.core.stop_words import StopWord
from coordinator.health.link_survey import USUAL_FOR_S
from coordinator.health.shelf_time import SHELF_USUAL_S
from coordinator.programs import NO_SWITCHES, Problem, Switches
from coordinator.programs.options import AS_WRITTEN, PlayOptions
from coordinator.programs.progress import Tell, untold
from coordinator.programs.size import MAX_LONG_BYTES
from coordinator.programs.words import no_such_line
from protocol.light import REST_WORDS

if TYPE_CHECKING:
    from coordinator.client.values import (
        AlarmsSnapshot,
        ArmSnapshot,
        CheckResult,
        Curves,
        HomingSnapshot,
        JointSnapshot,
        KeptReport,
        RunGoing,
        RunOver,
        ShelfSnapshot,
        SurveySnapshot,
        TaughtSnapshot,
        UpdateSnapshot,
        WarningSnapshot,
    )


class Named(Protocol):
    """What has a name and a number."""

    @property
    def id(self) -> int:
        """Its number."""

    @property
    def name(self) -> str:
        """As people call it."""


@dataclass(frozen=True, slots=True)
class _Kept:
    """A sequence or a program."""

    kind: Literal["sequence", "program"]
    id: int
    name: str

    @property
    def path(self) -> str:
        """Where its text is."""
        is_sequence = self.kind == "sequence"
        return (
            f"/taught/sequences/{self.id}/program"
            if is_sequence
            else f"/taught/programs/{self.id}/text"
        )


N = TypeVar("N", bound=Named)
PLANNING_S: Final = 30.0
"""Planning a program takes seconds."""
LONG_PER_S: Final = 30_000
"""Characters of a long one that are read in a second at least: it takes minutes."""
LONGEST_S: Final = PLANNING_S + MAX_LONG_BYTES / LONG_PER_S
"""For a program that is read, of which nobody here knows how long it is."""
SHORT: Final = 250_000
"""Characters of a text that goes in JSON: in UTF-8 they are no more than that may be."""
SOON_S: Final = 3.0
"""For a hold or stop: who waits for it must hear soon that it did not get through."""
GIVE_BACK_S: Final = 1.0
"""For control that is given back: who hangs notices later that nobody is there any more."""
LOOK_S: Final = 0.1
"""Between two looks at how something goes."""
LISTEN_S: Final = 0.25
"""Between two looks into the journal."""
PAGE: Final = 500
"""Lines of the journal that are asked for at once, the most that are given."""


class Questions:
    """A coordinator, asked over any transport; every method raises ClientError."""

    def __init__(self, asking: Asking) -> None:
        self._asking = asking

    @property
    def url(self) -> str:
        """Where the coordinator is."""
        return self._asking.url

    @property
    def answers(self) -> dict[str, Answer]:
        """The newest answer of each kind as it came, for who hands it on unread."""
        return self._asking.answers

    async def close(self) -> None:
        """Close the connection. A client that is used as a context does so when it is left."""
        await self._asking.transport.close()

    # ---- how things are ---------------------------------------------------------------------

    async def is_up(self) -> bool:
        """Whether a coordinator answers."""
        try:
            await self._asking.ask("health", "GET", "/healthz", has="status")
        except Unreachable:
            return False
        return True

    async def arm(self) -> "ArmSnapshot":
        """The arm's state."""
        answer = await self._asking.ask("arm", "GET", "/arm", has="condition")
        from coordinator.client.values import ArmSnapshot

        return self._asking.read(ArmSnapshot, _alarmed(answer))

    async def joints(self) -> "dict[str, JointSnapshot]":
        """The joints' states by name, base to tool."""
        return {joint.name: joint for joint in (await self.arm()).joints}

    async def arm_file(self) -> str:
        """The text of the arm file, as it was when the coordinator began."""
        try:
            return await self._text("/arm/file")
        except WrongInput as error:  # of another version, it has no such route
            raise Unreachable(
                f"what answers at {self.url} gives no arm file: {error}; name the arm by --arm"
            ) from error

    async def warnings(self) -> "tuple[WarningSnapshot, ...]":
        """The warnings that stand, oldest first."""
        answer = await self._asking.ask("warnings", "GET", "/warnings", has="warnings")
        from coordinator.client.values import WarningSnapshot

        found = _alarmed(answer)["warnings"]
        return self._asking.read(tuple[WarningSnapshot, ...], found, "warnings")

    async def alarms(self) -> "AlarmsSnapshot":
        """What is to be told of alarms beside those that stand: over unseen, shelved, a flood."""
        answer = await self._asking.ask("warnings", "GET", "/warnings", has="warnings")
        from coordinator.client.values import AlarmsSnapshot

        return self._asking.read(AlarmsSnapshot, {**_NO_ALARMS, **(answer.get("alarms") or {})})

    async def acknowledge(self, warning: int) -> "WarningSnapshot":
        """Acknowledge the warning of this id; it."""
        path = f"/warnings/{warning}/acknowledge"
        answer = await self._asking.ask("acknowledge", "POST", path, has="acknowledged")
        from coordinator.client.values import WarningSnapshot

        return self._asking.read(WarningSnapshot, _alarm(answer))

    async def shelve(self, warning: int, for_s: float = SHELF_USUAL_S) -> "ShelfSnapshot":
        """Put the sign of the warning of this id aside for `for_s` seconds, 60 to 28,800.

        Nothing else changes: what stops or refuses looks at the value itself. Refused for alarms
        of high priority, `WrongInput` where none of that id is shown.
        """
        path = f"/warnings/{warning}/shelve"
        answer = await self._asking.ask("shelve", "POST", path, {"for_s": for_s}, has="until_us")
        from coordinator.client.values import ShelfSnapshot

        return self._asking.read(ShelfSnapshot, answer)

    async def unshelve(self, shelf: int) -> "ShelfSnapshot":
        """Take what is shelved, by the id of its shelf or its warning, off the shelf; what it was.

        It is so still, or not: that was never changed by it.
        """
        path = f"/warnings/{shelf}/unshelve"
        answer = await self._asking.ask("unshelve", "POST", path, has="until_us")
        from coordinator.client.values import ShelfSnapshot

        return self._asking.read(ShelfSnapshot, answer)

    # ---- homing -----------------------------------------------------------------------------

    async def accept_home(self, joint: str) -> None:
        """Accept the home of a joint that wandered, once somebody has looked at the joint."""
        path = f"/joints/{quote(joint, safe='')}/home/accept"
        await self._asking.ask("accept", "POST", path, has="phase")

    async def home(self, joints: Sequence[str] = ()) -> int:
        """Begin to home these joints, all if none is named; the homing's number."""
        body = {"joints": list(joints)}
        answer = await self._asking.ask("home", "POST", "/home", body, has="homing")
        return self._asking.read(int, answer["homing"], "homing")

    async def homing(self, number: int) -> "HomingSnapshot":
        """How a homing goes."""
        answer = await self._asking.ask("homing", "GET", f"/homings/{number}", has="state")
        from coordinator.client.values import HomingSnapshot

        return self._asking.read(HomingSnapshot, answer)

    async def home_and_wait(self, joints: Sequence[str] = ()) -> "HomingSnapshot":
        """Home these joints, all if none is named, to the end. Raises HomingFailed.

        To wait no longer ends no homing: it goes on unless it is stopped.
        """
        number = await self.home(joints)
        while (homing := await self.homing(number)).state == "running":
            await self._asking.transport.sleep(LOOK_S)
        if homing.state != "done":
            raise HomingFailed(homing)
        return homing

    # ---- firmware ---------------------------------------------------------------------------

    async def update(self, joint: str, file: bytes) -> "UpdateSnapshot":
        """Begin to give a joint new firmware, by a file that `unisono joint sign` made; how it
        goes. Nothing of the arm moves until it is over.
        """
        path, patience_s = _update_of(joint), PLANNING_S + len(file) / IMAGE_BYTES_PER_S
        return await self._updating("POST", path, File(file), patience_s)

    async def updating(self, joint: str) -> "UpdateSnapshot":
        """How the newest update goes or went. WrongInput where it was not this joint's."""
        return await self._updating("GET", _update_of(joint))

    async def cancel_update(self, joint: str) -> "UpdateSnapshot":
        """Cancel a joint's update. Refused once it is to install it."""
        return await self._updating("DELETE", _update_of(joint))

    async def update_and_wait(self, joint: str, file: bytes) -> "UpdateSnapshot":
        """The same as `update`, to its end. Raises UpdateFailed where the new firmware does not run
        then. To wait no longer ends nothing.
        """
        update = await self.update(joint, file)
        while not update.phase.is_over:
            await self._asking.transport.sleep(LOOK_S)
            update = await self.updating(joint)
        if update.phase != UpdatePhase.DONE:
            raise UpdateFailed(update)
        return update

    async def _updating(
        self, method: str, path: str, body: File | None = None, patience_s: float | None = None
    ) -> "UpdateSnapshot":
        answer = await self._asking.ask(
            "update", method, path, body, has="phase", patience_s=patience_s
        )
        from coordinator.client.values import UpdateSnapshot

        return self._asking.read(UpdateSnapshot, answer)

    # ---- bring-up ---------------------------------------------------------------------------

    async def bring_up(self, joint: str) -> BringUp:
        """How far the bring-up of a joint is, and what a swap asks for again."""
        return await self._bringing_up("GET", _bring_up_of(joint))

    async def brought_up(
        self,
        joint: str,
        step: str,
        *,
        answer: str | None = None,
        commanded_deg: float | None = None,
        measured_deg: float | None = None,
    ) -> BringUp:
        """Say that a step of it is done, or `controller-only` or `other-body`; Refused where what
        it asks for is not so, or an earlier one is to be done first.
        """
        body = {
            "answer": answer, "commanded_deg": commanded_deg, "measured_deg": measured_deg
        }  # fmt: skip
        path = f"{_bring_up_of(joint)}/{quote(step, safe='')}"
        return await self._bringing_up("POST", path, body)

    async def bring_up_sheet(self, joint: str) -> str:
        """All that was found, as the text of an HTML file for people."""
        return await self._text(f"{_bring_up_of(joint)}/sheet", "text/html")

    async def _bringing_up(self, method: str, path: str, body: object = None) -> BringUp:
        answer = await self._asking.ask("bring-up", method, path, body, has="steps")
        return self._asking.read(BringUp, answer)

    # ---- links ------------------------------------------------------------------------------

    async def survey(
        self, joints: Iterable[str] = (), for_s: float = USUAL_FOR_S
    ) -> "SurveySnapshot":
        """Begin to survey the links of these joints, of all for none, for 10 to 600 s; how it goes.
        Nothing moves, and whatever is to move ends it. Refused while anything moves.
        """
        return await self._surveying("POST", {"joints": list(joints), "for_s": for_s})

    async def surveying(self) -> "SurveySnapshot":
        """How the newest survey goes, or what it found; its phase is `none` where there is none."""
        return await self._surveying("GET")

    async def cancel_survey(self) -> "SurveySnapshot":
        """Cancel the survey. Refused where none goes on."""
        return await self._surveying("DELETE")

    async def survey_and_wait(
        self, joints: Iterable[str] = (), for_s: float = USUAL_FOR_S
    ) -> "SurveySnapshot":
        """The same as `survey`, to its end. Raises SurveyEnded where it came to nothing: somebody
        cancelled it, or the arm was to move. To wait no longer ends nothing.
        """
        survey = await self.survey(joints, for_s)
        while survey.phase == SurveyPhase.MEASURING:
            await self._asking.transport.sleep(LOOK_S)
            survey = await self.surveying()
        if survey.phase != SurveyPhase.DONE:
            raise SurveyEnded(survey)
        return survey

    async def _surveying(self, method: str, body: object = None) -> "SurveySnapshot":
        answer = await self._asking.ask("survey", method, "/survey", body, has="phase")
        from coordinator.client.values import SurveySnapshot

        return self._asking.read(SurveySnapshot, answer)

    # ---- programs ---------------------------------------------------------------------------

    async def check(
        self, text: str, switches: Switches = NO_SWITCHES, *, tell: Tell = untold
    ) -> "CheckResult":
        """What a program would do from where the arm stands, or from `park` if that is unsure.

        Mistakes are in its `errors`: they raise nothing; WrongInput is raised where `from_line` is
        no line of the text. `switches` are the operator's. `tell` is called about four times a
        second with how far it is; what it raises ends the check.
        """
        answer = await self._looked_at("check", "/check", text, switches, tell, has="errors")
        from coordinator.client.values import CheckResult

        return self._asking.read(CheckResult, answer)

    async def curves(
        self, text: str, switches: Switches = NO_SWITCHES, *, tell: Tell = untold
    ) -> "Curves":
        """What a program would do over time, from where `check` begins, with the same switches
        and the same `tell`.

        Raises WrongInput with its mistakes.
        """
        answer = await self._looked_at(
            "curves", "/check/curves", text, switches, tell, has="time_s"
        )
        from coordinator.client.values import Curves

        return self._asking.read(Curves, answer)

    async def _looked_at(
        self, what: str, path: str, text: str, switches: Switches, tell: Tell, *, has: str
    ) -> Answer:
        """What is answered of a program, by which nothing moves."""
        _require_line(text, switches.from_line)
        body = {**await self._named(text), **_members(switches)}
        patience_s = _planning_s(text)
        return await self._asking.ask_long(
            what, "POST", path, body, tell, has=has, patience_s=patience_s
        )

    async def _named(self, text: str) -> dict[str, str]:
        """What names a program's text in a body: itself, or its digest once it was sent."""
        if len(text) <= SHORT:
            return {"text": text}
        sent = await self._asking.ask(
            "sent", "POST", "/texts", text.encode(), has="sha256", patience_s=_planning_s(text)
        )
        return {"sent": self._asking.read(str, sent["sha256"], "sha256")}

    async def play(
        self,
        name: str,
        text: str,
        options: PlayOptions = AS_WRITTEN,
        *,
        taught: int | None = None,
        tell: Tell = untold,
    ) -> int:
        """Play a program as `options` say, once it is planned; the run's number.

        `taught` is the sequence or kept program whose text it is, so that its result is told there.
        `tell` is as for `check`: what it raises ends the planning, and then nothing is played. A
        run that has begun by then goes on: hold it.
        """
        _require_line(text, options.from_line)
        body: dict[str, object] = {
            "name": name,
            **await self._named(text),
            **_members(options),
        }
        if taught is not None:
            body["taught"] = taught
        answer = await self._asking.ask_long(
            "play", "POST", "/runs", body, tell, has="run", patience_s=_planning_s(text)
        )
        return self._asking.read(int, answer["run"], "run")

    async def play_and_wait(
        self, name: str, text: str, options: PlayOptions = AS_WRITTEN
    ) -> "KeptReport":
        """Play a program to its end; its report. Raises what `wait_for_run` raises."""
        return await self.wait_for_run(await self.play(name, text, options))

    async def wait_for_run(self, number: int) -> "KeptReport":
        """Wait until a run has finished; its report.

        A pause of the program is waited out: somebody else resumes. Raises RunHeld where the
        run rests on its path, or an input that it waits for did not come, or something kept it from
        waiting; RunNotFinished where it ended otherwise. To wait no longer ends no
        run: it goes on unless it is held or stopped.
        """
        while not (state := await self.run(number)).needs_somebody:
            await self._asking.transport.sleep(LOOK_S)
        report = await self.report(number)
        if state.phase != "ended":
            raise RunHeld(f"run {number} is {state.phase}: {state.message}", report)
        if report.outcome != Outcome.FINISHED:
            raise RunNotFinished(f"run {number} was {report.outcome}: {report.message}", report)
        return report

    async def run(self, number: int) -> "RunGoing | RunOver":
        """Where a run is."""
        answer = await self._asking.ask("run", "GET", f"/runs/{number}", has="phase")
        from coordinator.client.values import RunGoing, RunOver

        is_over = answer["phase"] in ("ended", "ending")
        return (
            self._asking.read(RunOver, answer) if is_over else self._asking.read(RunGoing, answer)
        )

    async def runs(self, limit: int = 100, before: int | None = None) -> tuple[RunInShort, ...]:
        """Runs in short, newest first, at most 500; those before the one of this number."""
        more = "" if before is None else f"&before={before}"
        answer = await self._asking.ask("runs", "GET", f"/runs?limit={limit}{more}", has="runs")
        return self._asking.read(tuple[RunInShort, ...], answer["runs"], "runs")

    async def last_run(self) -> int | None:
        """The newest run's number, None if nothing was played yet."""
        runs = await self.runs(limit=1)
        return runs[0].run if runs else None

    async def report(self, number: int) -> "KeptReport":
        """What a run was, or is so far."""
        answer = await self._asking.ask("report", "GET", f"/runs/{number}/report", has="run")
        from coordinator.client.values import KeptReport

        return self._asking.read(KeptReport, {**_MAY_LACK, **answer})

    async def run_record(self, number: int) -> str:
        """A run's record, an HTML file that can be printed and handed on: its text."""
        return await self._text(f"/runs/{number}/record", "text/html", PLANNING_S)

    async def way_back(self, number: int, from_line: int | None = None) -> WayBack:
        """Where joints would be as the line begins in which a run was last, or another line."""
        which = "" if from_line is None else f"?from_line={from_line}"
        path = f"/runs/{number}/way{which}"
        answer = await self._asking.ask("way", "GET", path, has="angles_deg", patience_s=LONGEST_S)
        return self._asking.read(WayBack, answer)

    # ---- commands ---------------------------------------------------------------------------

    async def hold(self) -> None:
        """Come to rest on the path. Soon answered, or not delivered: and the error says so."""
        with _undelivered("the hold was not delivered, and the arm may move"):
            await self._command("/hold", patience_s=SOON_S)

    async def resume(self) -> None:
        """Go on after a hold or a pause."""
        await self._command("/resume")

    async def stop(self, level: StopWord = "stop") -> None:
        """Stop: `stop`, `stop-and-release` or `release`; no safety-rated emergency stop.

        `unconfirmed` of the arm's condition names the joints that have not said that they obey.
        """
        with _undelivered(
            "nothing was stopped, and the arm may move: use the emergency stop that cuts the power"
        ):
            await self._command("/stop", {"level": level}, patience_s=SOON_S)

    async def switch_output(self, output: str, *, on: bool) -> None:
        """Switch a tool's output by hand, while nothing moves. The arm's state tells once it is."""
        await self._command("/output", {"output": output, "on": on})

    async def blink(self, joint: str) -> None:
        """Let a joint's light blink, so that somebody sees which one it is. Nothing moves."""
        await self._command("/blink", {"joint": joint})

    async def override(self, percent: float) -> None:
        """Set the feed override, 5 to 100 %."""
        await self._command("/override", {"percent": percent})

    async def step(self, joint: str, by_deg: float, speed_deg_s: float) -> None:
        """Turn one joint by an angle, from where its last step ends."""
        body = {"joint": joint, "by_deg": by_deg, "speed_deg_s": speed_deg_s}
        await self._command("/step", body)

    async def wait_until_at_rest(self, longest_s: float = 60.0) -> "ArmSnapshot":
        """Wait until every joint surely rests, and has confirmed a stop if there was one; the arm.

        Its `condition` says what keeps it there: `at rest`, or `stopped`, `motors off`, `held` or
        `paused`. That a joint rests does not say that it got where it was sent. Raises NotFinished
        after `longest_s` seconds, which says what still moves.
        """
        if not longest_s >= 0:
            raise WrongInput(f"longest_s is {longest_s:g}, but must be 0 or more")
        end_s = time.monotonic() + longest_s
        while restless := _restless(arm := await self.arm()):
            if time.monotonic() >= end_s:
                raise NotFinished(f"after {longest_s:g} s the arm does not surely rest, {restless}")
            await self._asking.transport.sleep(LOOK_S)
        return arm

    # ---- teaching ---------------------------------------------------------------------------

    async def taught(self) -> "TaughtSnapshot":
        """Waypoints and sequences."""
        return self._as_taught(await self._asking.ask("taught", "GET", "/taught", has="revision"))

    async def add_sequence(self, name: str) -> "TaughtSnapshot":
        """A new sequence, empty."""
        return await self._edit({"type": "add-sequence", "name": name})

    async def record(self, sequence: str, name: str = "") -> "TaughtSnapshot":
        """The place where the arm stands, as a new waypoint at the end of a sequence.

        A sequence of a new name is added with it. Every joint must be homed and surely rest.
        Without a name of the waypoint one is found.
        """
        found = _named((await self.taught()).sequences, sequence)
        into: dict[str, object] = {"new": sequence} if found is None else {"sequence": found.id}
        return await self._edit({"type": "record", "name": name} | into)

    async def write_sequence(self, name: str, text: str) -> "TaughtSnapshot":
        """Make a sequence what a program says. A waypoint, known by its name, changes everywhere.

        Raises WrongInput with `mistakes` for a program that no sequence can be.
        """
        path = f"/taught/sequences/{await self._sequence(name)}/program"
        body = {"revision": (await self.taught()).revision, "text": text}
        answer = await self._asking.ask(
            "taught", "PUT", path, body, has="revision", patience_s=PLANNING_S
        )
        return self._as_taught(answer)

    async def check_sequence(self, text: str) -> "tuple[Problem, ...]":
        """What keeps a program from being a sequence, with line and column; nothing is changed."""
        answer = await self._asking.ask(
            "mistakes", "POST", "/taught/check", {"text": text}, has="errors", patience_s=PLANNING_S
        )
        return self._asking.read(tuple[Problem, ...], answer["errors"], "errors")

    async def keep_program(self, name: str, text: str) -> "TaughtSnapshot":
        """Keep a program under a name, in place of the text that it had. Mistakes are no matter."""
        found = _named((await self.taught()).programs, name)
        edit: dict[str, object] = {"type": "keep-program", "text": text}
        return await self._edit(edit | ({"name": name} if found is None else {"program": found.id}))

    async def taught_text(self, name: str) -> str:
        """A sequence as a program, or a kept program: RS-274 text, fit for `play`.

        That of a sequence is fit for `write_sequence` too.
        """
        return await self._text((await self._kept(name)).path)

    async def play_taught(
        self, name: str, options: PlayOptions = AS_WRITTEN, *, tell: Tell = untold
    ) -> int:
        """Play a sequence or a kept program as `options` say; the run's number."""
        kept = await self._kept(name)
        text = await self._text(kept.path)
        return await self.play(kept.name, text, options, taught=kept.id, tell=tell)

    async def delete_taught(self, name: str) -> "TaughtSnapshot":
        """No such sequence or program any more, nor the waypoints that only it visited.

        Undo brings them back.
        """
        kept = await self._kept(name)
        return await self._edit({"type": f"delete-{kept.kind}", kept.kind: kept.id})

    async def undo_taught(self) -> "TaughtSnapshot":
        """Take back the last change of what was taught, whoever made it."""
        return await self._step_through("/taught/undo")

    async def redo_taught(self) -> "TaughtSnapshot":
        """Make the change again that was taken back last."""
        return await self._step_through("/taught/redo")

    async def go_to(self, waypoint: str, *, begun: Callable[[], None] | None = None) -> None:
        """Turn all joints to a waypoint, and wait until they are there.

        `begun` is called once, as the joints begin to turn: not where that is refused.

        Each goes its own way, at the arm file's speed for teaching. Said again all the while: where
        this is left, or cannot be said in time, the arm comes to rest by itself. Raises NotFinished
        where the joints do not say then that they rest.
        """
        taught = await self.taught()
        place = next((one for one in taught.waypoints if one.name == waypoint), None)
        if place is None:
            raise WrongInput(f"there is no waypoint {waypoint!r}")
        try:
            while True:
                body = {"waypoint": place.id}
                await self._asking.ask("command", "POST", "/go", body, has="phase")
                if begun is not None:
                    begun()
                    begun = None
                joints = await self.joints()
                away = [
                    name
                    for name, angle in place.angles_deg.items()
                    if name in joints and not _is_at(joints[name], angle)
                ]
                if not away:
                    break
                await self._asking.transport.sleep(LOOK_S)
        finally:
            with contextlib.suppress(ClientError):  # it ends by itself
                await self._command("/jog", {"velocities_deg_s": {}})
        await self.wait_until_at_rest(SETTLED_S)

    async def _sequence(self, name: str) -> int:
        sequences = (await self.taught()).sequences
        found = _named(sequences, name)
        if found is None:
            known = ", ".join(repr(one.name) for one in sequences) or "none"
            raise WrongInput(f"there is no sequence {name!r}; there is {known}")
        return found.id

    async def _kept(self, name: str) -> "_Kept":
        taught = await self.taught()
        sequence, program = _named(taught.sequences, name), _named(taught.programs, name)
        if sequence is not None and program is not None:
            raise WrongInput(f"a sequence and a program are named {name!r}: rename one of them")
        if sequence is not None:
            return _Kept("sequence", sequence.id, sequence.name)
        if program is not None:
            return _Kept("program", program.id, program.name)
        names = [one.name for one in taught.sequences] + [one.name for one in taught.programs]
        known = ", ".join(map(repr, names))
        raise WrongInput(f"there is no sequence or program {name!r}; there is {known or 'none'}")

    async def _text(
        self, path: str, media_type: str = "text/plain", patience_s: float | None = None
    ) -> str:
        response = await self._asking.response("GET", path, patience_s=patience_s)
        if not response.headers.get("Content-Type", "").startswith(media_type):
            raise self._asking.no_coordinator()
        return response.text

    async def _edit(self, edit: dict[str, object]) -> "TaughtSnapshot":
        body = {"revision": (await self.taught()).revision, "edit": edit}
        answer = await self._asking.ask("taught", "POST", "/taught/edits", body, has="revision")
        return self._as_taught(answer)

    async def _step_through(self, path: str) -> "TaughtSnapshot":
        body = {"revision": (await self.taught()).revision}
        answer = await self._asking.ask("taught", "POST", path, body, has="revision")
        return self._as_taught(answer)

    def _as_taught(self, answer: Answer) -> "TaughtSnapshot":
        from coordinator.client.values import TaughtSnapshot

        return self._asking.read(TaughtSnapshot, answer)

    # ---- the queue --------------------------------------------------------------------------

    async def queue(self) -> Queue:
        """What is queued to be played one after another."""
        answer = await self._asking.ask("queue", "GET", "/queue", has="entries")
        return self._asking.read(Queue, answer)

    async def queue_add(self, name: str, options: PlayOptions = AS_WRITTEN) -> Queue:
        """Add a sequence or kept program at the end of the queue, to be played as they say."""
        kept = await self._kept(name)
        edit = {"type": "add", "taught": kept.id, "options": _members(options)}
        return await self._edit_queue(edit)

    async def queue_set(self, entry: int, options: PlayOptions) -> Queue:
        """Have the entry of this id played as these options say, and not as those before."""
        edit = {"type": "set-options", "entry": entry, "options": _members(options)}
        return await self._edit_queue(edit)

    async def queue_remove(self, entry: int) -> Queue:
        """Remove the entry of this id; while the queue is played only one that waits."""
        return await self._edit_queue({"type": "remove", "entry": entry})

    async def queue_move(self, entry: int, to: int) -> Queue:
        """Move the entry of this id to another place, counted from 0."""
        return await self._edit_queue({"type": "move", "entry": entry, "to": to})

    async def queue_clear(self) -> Queue:
        """Remove all entries; not while the queue is played."""
        return await self._edit_queue({"type": "clear"})

    async def play_queue(self, *, tell: Tell = untold) -> int:
        """Play the queue from its first entry on; the first run's number.

        The next entry begins by itself once one has finished; any other end of a run ends the
        queue, whose `message` says why. `tell` is as for `play`.
        """
        body = {"revision": (await self.queue()).revision}
        answer = await self._asking.ask_long(
            "play", "POST", "/queue/play", body, tell, has="run", patience_s=PLANNING_S
        )
        return self._asking.read(int, answer["run"], "run")

    async def _edit_queue(self, edit: dict[str, object]) -> Queue:
        body = {"revision": (await self.queue()).revision, "edit": edit}
        answer = await self._asking.ask("queue", "POST", "/queue/edits", body, has="entries")
        return self._asking.read(Queue, answer)

    # ---- control ----------------------------------------------------------------------------

    async def control(self) -> ControlAsked:
        """Who has control of the arm's motion."""
        answer = await self._asking.ask("control", "GET", "/control", has="holder")
        return self._asking.read(ControlAsked, answer)

    async def take_control(self) -> ControlAsked:
        """Take control over; what moves for somebody else is held first."""
        answer = await self._asking.ask("control", "POST", "/control/take", has="holder")
        return self._asking.read(ControlAsked, answer)

    async def release_control(self) -> ControlAsked:
        """Give control back, if this client has it."""
        answer = await self._asking.ask(
            "control", "POST", "/control/release", has="holder", patience_s=GIVE_BACK_S
        )
        return self._asking.read(ControlAsked, answer)

    # ---- what joints were -------------------------------------------------------------------

    async def joint_history(
        self,
        joint: str,
        since: datetime | None = None,
        until: datetime | None = None,
        points: int = 400,
    ) -> JointHistory:
        """What a joint was over time, in at most so many stretches, 2 to 2,000.

        From one instant to a later one, each with its zone; without, from an hour before the later
        one to now.
        """
        path = _history_path(joint, since, until, points)
        answer = await self._asking.ask("joint-history", "GET", path, has="stretch_s")
        return self._asking.read(JointHistory, {"hop_ohm": _none_read(answer), **answer})

    async def joint_history_csv(
        self,
        joint: str,
        since: datetime | None = None,
        until: datetime | None = None,
        points: int = 400,
    ) -> str:
        """The same as a table (RFC 4180): a line for each stretch."""
        path = f"{_history_path(joint, since, until, points)}&format=csv"
        return await self._text(path, "text/csv")

    async def joint_wear(self, joint: str, since: datetime | None = None) -> JointWear:
        """What a joint has done in all (hours, starts, reversals, distance), and how its hop wears:
        by what it was from an instant with its zone on, such as of a repair, of a year at most.
        """
        asked = _instants(("from", since))
        path = f"/joints/{quote(joint, safe='')}/wear{'?' if asked else ''}{urlencode(asked)}"
        return self._asking.read(
            JointWear, await self._asking.ask("joint-wear", "GET", path, has="distance_deg")
        )

    async def joint_homings(self, joint: str) -> JointHomings:
        """How well a joint found its home again, homing after homing."""
        path = f"/joints/{quote(joint, safe='')}/homings"
        return self._asking.read(
            JointHomings,
            await self._asking.ask("joint-homings", "GET", path, has="drift_deg_per_c"),
        )

    # ---- the journal ------------------------------------------------------------------------

    async def events(
        self, limit: int = 100, *, details: bool = False, before: int | None = None
    ) -> tuple[Event, ...]:
        """The journal's last lines, newest first, at most 500; those before the one of this id."""
        more = "" if before is None else f"&before={before}"
        path = f"/events?limit={limit}&details={'true' if details else 'false'}{more}"
        answer = await self._asking.ask("events", "GET", path, has="events")
        return self._asking.read(tuple[Event, ...], answer["events"], "events")

    async def follow_events(
        self, after: int | None = None, *, details: bool = False
    ) -> AsyncIterator[Event]:
        """Lines of the journal as they come, oldest first, without an end and none left out.

        `after` is the id of the last one that is known already; without it what comes from now on.
        They are asked for four times a second, and not taken from the live feed, which has no ids:
        who loses the coordinator (Unreachable) can go on behind the last one it has.
        """
        if after is None:
            newest = await self.events(1, details=True)
            after = newest[0].id if newest else 0
        while True:
            for event in await self._events_after(after, details=details):
                after = event.id
                yield event
            await self._asking.transport.sleep(LISTEN_S)

    async def _events_after(self, after: int, *, details: bool) -> list[Event]:
        """All behind that id, oldest first."""
        found: list[Event] = []
        while True:
            page = await self.events(PAGE, details=details, before=found[-1].id if found else None)
            found += [event for event in page if event.id > after]
            if len(page) < PAGE or page[-1].id <= after:
                return found[::-1]

    async def _command(
        self, path: str, body: object = None, *, patience_s: float | None = None
    ) -> None:
        """Have something done; what comes of it, the arm's state tells."""
        await self._asking.ask("command", "POST", path, body, has="phase", patience_s=patience_s)


def _history_path(joint: str, since: datetime | None, until: datetime | None, points: int) -> str:
    """Where a joint's history is asked for. Raises WrongInput for an instant without its zone."""
    asked = {"points": str(points), **_instants(("from", since), ("to", until))}
    return f"/joints/{quote(joint, safe='')}/history?{urlencode(asked)}"


def _instants(*named: tuple[str, datetime | None]) -> dict[str, str]:
    """Those that are asked for. Raises WrongInput for one without its zone."""
    asked = {}
    for name, at in named:
        if at is not None:
            if at.tzinfo is None:
                raise WrongInput(f"{name!r} is {at.isoformat()}, but must name its zone")
            asked[name] = at.isoformat()
    return asked


def _none_read(answer: Answer) -> Answer:
    """Readings of what an older coordinator did not keep, in as many stretches."""
    starts = answer.get("start_s")
    count = len(starts) if isinstance(starts, list) else 0
    return {
        "min": [None] * count,
        "mean": [None] * count,
        "max": [None] * count,
        "count": [0] * count,
    }


def _require_line(text: str, line: int | None) -> None:
    """Raise WrongInput for a line to begin from that a text does not have."""
    if line is not None and (missing := no_such_line(line, text)):
        raise WrongInput(missing, (Problem(max(line, 1), 1, missing),))


_MAY_LACK: Final[Answer] = {
    "block_delete": False, "check_edges": False, "edges_passed": {}, "edges_unconfirmed": {},
    "for_s": None, "from_line": None, "holds_left_out": 0, "line": None, "loops": 1,
    "optional_stop": False, "overrides": [], "overrides_left_out": 0,
    "production": {"done": 0, "mean_us": None, "slowest": None, "interventions": {
        "holds": 0, "takeovers": 0, "other_holds": 0, "pauses": 0, "speed_changes": 0}},
    "starts_left_out": 0, "step_by_line": False, "stop_unconfirmed": [], "unwritten": [],
    "written_utc": "",
}  # fmt: skip
"""What not every report has: those that an older coordinator wrote, and those of now."""
_ALARM_MAY_LACK: Final[Answer] = {
    "cause": "", "consequence": "", "episode": 0, "first_out": False, "origin": "",
}  # fmt: skip
"""What a warning of an older coordinator lacks; its state and priority follow from the rest."""
_NO_ALARMS: Final[Answer] = {"returned": [], "shelved": [], "flood": None}


def _alarm(warning: object) -> Answer:
    """A warning with all that one of now has. What is none is left for the reader to refuse."""
    if not isinstance(warning, dict):
        return cast("Answer", warning)
    state = "acknowledged" if warning.get("acknowledged") is True else "unacknowledged"
    priority = "high" if warning.get("level") == "danger" else "medium"
    return {**_ALARM_MAY_LACK, "state": state, "priority": priority, **warning}


def _alarmed(answer: Answer) -> Answer:
    """An answer whose warnings are all as those of now."""
    warnings = answer.get("warnings")
    if not isinstance(warnings, list):
        return answer
    return {**answer, "warnings": [_alarm(one) for one in warnings]}


SETTLED_S: Final = 10.0
"""Joints that are there say so in a moment."""
THERE_DEG: Final = 0.02
"""A joint that rests this near is there: more than a count of any joint."""


IMAGE_BYTES_PER_S: Final = 250_000
"""At 2 Mbit/s."""


def _update_of(joint: str) -> str:
    return f"/joints/{quote(joint, safe='')}/update"


def _bring_up_of(joint: str) -> str:
    return f"/joints/{quote(joint, safe='')}/bring-up"


def _planning_s(text: str) -> float:
    return PLANNING_S + len(text) / LONG_PER_S


def _members(asked: Switches | PlayOptions) -> dict[str, object]:
    """Of a body. Those that say nothing are left out: an older coordinator may not know them."""
    told = {one.name: (getattr(asked, one.name), one.default) for one in fields(asked)}
    return {name: value for name, (value, usual) in told.items() if value != usual}


def plain(name: str) -> str:
    """A name as it is compared: in small letters, with no more spaces than it needs."""
    return " ".join(name.split()).casefold()


def _named(kept: Iterable[N], name: str) -> N | None:
    return next((one for one in kept if plain(one.name) == plain(name)), None)


def _is_at(joint: "JointSnapshot", angle_deg: float) -> bool:
    at_deg = joint.position_deg
    return at_deg is not None and abs(at_deg - angle_deg) <= THERE_DEG and not joint.velocity_deg_s


def _restless(arm: "ArmSnapshot") -> str:
    """What may move still, a clause; empty where all surely rest."""
    found = arm.condition
    wanting = [joint for joint in arm.joints if joint.stop_wanted]
    if found.word in REST_WORDS and not found.unconfirmed and not wanting:
        return ""
    silent = [joint for joint in arm.joints if joint.link is LinkWord.OFFLINE]
    turning = [joint for joint in arm.joints if joint.velocity_deg_s and joint not in silent]
    cause = f" ({found.cause})" if found.cause else ""
    joints = [f"{joint.name} turns at {joint.velocity_deg_s:.3g} °/s" for joint in turning]
    joints += [f"{joint.name} is not heard" for joint in silent]
    joints += [f"{joint.name} has not confirmed the stop" for joint in wanting]
    return f"it is {found.word}{cause}{': ' if joints else ''}{', '.join(joints)}"


@contextlib.contextmanager
def _undelivered(consequence: str) -> Iterator[None]:
    """What must be known first where a command did not get through."""
    try:
        yield
    except (Unreachable, Closed, OtherLoop) as error:
        raise type(error)(f"{consequence}: {error}") from error
