"""What was taught: waypoints, sequences and kept programs."""

from typing import TYPE_CHECKING

from coordinator.client.asking import Answer
from coordinator.client.errors import WrongInput
from coordinator.client.questions.kept import Kept, named
from coordinator.client.questions.patience import PLANNING_S
from coordinator.client.questions.programs import ProgramQuestions
from coordinator.programs import Problem
from coordinator.programs.options import AS_WRITTEN, PlayOptions
from coordinator.programs.progress import Tell, untold

if TYPE_CHECKING:
    from coordinator.client.values import TaughtSnapshot


class TeachingQuestions(ProgramQuestions):
    """What is kept, changed and played by its name."""

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
        found = named((await self.taught()).sequences, sequence)
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
        found = named((await self.taught()).programs, name)
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

    async def _sequence(self, name: str) -> int:
        sequences = (await self.taught()).sequences
        found = named(sequences, name)
        if found is None:
            known = ", ".join(repr(one.name) for one in sequences) or "none"
            raise WrongInput(f"there is no sequence {name!r}; there is {known}")
        return found.id

    async def _kept(self, name: str) -> Kept:
        taught = await self.taught()
        sequence, program = named(taught.sequences, name), named(taught.programs, name)
        if sequence is not None and program is not None:
            raise WrongInput(f"a sequence and a program are named {name!r}: rename one of them")
        if sequence is not None:
            return Kept("sequence", sequence.id, sequence.name)
        if program is not None:
            return Kept("program", program.id, program.name)
        names = [one.name for one in taught.sequences] + [one.name for one in taught.programs]
        known = ", ".join(map(repr, names))
        raise WrongInput(f"there is no sequence or program {name!r}; there is {known or 'none'}")

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
