"""What joints were over time."""

from datetime import datetime
from urllib.parse import urlencode

from coordinator.answers.joint_history import JointHistory, JointWear
from coordinator.client.errors import WrongInput
from coordinator.client.questions.asked import Asked, of_joint
from coordinator.client.questions.older import none_read


class HistoryQuestions(Asked):
    """What joints were, and what they have done."""

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
        older = dict.fromkeys(("hop_ohm", "position_error_deg"), none_read(answer))
        return self._asking.read(JointHistory, {**older, **answer})

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
        path = of_joint(joint, "wear") + ("?" if asked else "") + urlencode(asked)
        return self._asking.read(
            JointWear, await self._asking.ask("joint-wear", "GET", path, has="distance_deg")
        )


def _history_path(joint: str, since: datetime | None, until: datetime | None, points: int) -> str:
    """Where a joint's history is asked for. Raises WrongInput for an instant without its zone."""
    asked = {"points": str(points), **_instants(("from", since), ("to", until))}
    return f"{of_joint(joint, 'history')}?{urlencode(asked)}"


def _instants(*named: tuple[str, datetime | None]) -> dict[str, str]:
    """Those that are asked for. Raises WrongInput for one without its zone."""
    asked = {}
    for name, at in named:
        if at is not None:
            if at.tzinfo is None:
                raise WrongInput(f"{name!r} is {at.isoformat()}, but must name its zone")
            asked[name] = at.isoformat()
    return asked
