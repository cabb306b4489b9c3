"""Programs: checked and played."""

from dataclasses import fields
from typing import TYPE_CHECKING, Final

from coordinator.client.asking import Answer
from coordinator.client.errors import WrongInput
from coordinator.client.questions.patience import planning_s
from coordinator.client.questions.runs import RunQuestions
from coordinator.programs import NO_SWITCHES, Switches
from coordinator.programs.options import AS_WRITTEN, PlayOptions
from coordinator.programs.progress import Tell, untold
from coordinator.programs.words import missing_line

if TYPE_CHECKING:
    from coordinator.client.values import CheckResult, Curves, KeptReport

SHORT: Final = 250_000
"""Characters of a text that goes in JSON: in UTF-8 they are no more than that may be."""


class ProgramQuestions(RunQuestions):
    """What a program would do, and to have it played."""

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
        body = {**await self._sent(text), **members(switches)}
        patience_s = planning_s(text)
        return await self._asking.ask_long(
            what, "POST", path, body, tell, has=has, patience_s=patience_s
        )

    async def _sent(self, text: str) -> dict[str, str]:
        """What names a program's text in a body: itself, or its digest once it was sent."""
        if len(text) <= SHORT:
            return {"text": text}
        sent = await self._asking.ask(
            "sent", "POST", "/texts", text.encode(), has="sha256", patience_s=planning_s(text)
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
            **await self._sent(text),
            **members(options),
        }
        if taught is not None:
            body["taught"] = taught
        answer = await self._asking.ask_long(
            "play", "POST", "/runs", body, tell, has="run", patience_s=planning_s(text)
        )
        return self._asking.read(int, answer["run"], "run")

    async def play_and_wait(
        self, name: str, text: str, options: PlayOptions = AS_WRITTEN
    ) -> "KeptReport":
        """Play a program to its end; its report. Raises what `wait_for_run` raises."""
        return await self.wait_for_run(await self.play(name, text, options))


def _require_line(text: str, line: int | None) -> None:
    """Raise WrongInput for a line to begin from that a text does not have."""
    if line is not None and (missing := missing_line(line, text)):
        raise WrongInput(missing.message, (missing,))


def members(asked: Switches | PlayOptions) -> dict[str, object]:
    """Of a body. Those that say nothing are left out: an older coordinator may not know them."""
    told = {one.name: (getattr(asked, one.name), one.default) for one in fields(asked)}
    return {name: value for name, (value, usual) in told.items() if value != usual}
