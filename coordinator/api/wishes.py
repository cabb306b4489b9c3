"""What a hand at a control wishes: sent on the feed that is open anyway, many times a second.

A wish carries when the hand made it, in arm time, so that one that waited on its way moves nothing:
what is old was let go meanwhile, as far as anybody here can know.
"""

from collections.abc import Callable, Mapping
from typing import Annotated, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from coordinator.api.bodies import GoBody, HoldHomeBody, JogBody, StepBody
from coordinator.api.rate_limits import Buckets
from coordinator.core.events import Command, Go, HoldHome, Jog, Refused, Step

JOG_OLD_US: Final = 250_000
"""A wish to turn that was made longer ago is not obeyed."""
STEP_OLD_US: Final = 1_000_000
"""A step is not either; it says how far, so that a little waiting does it no harm."""
AHEAD_US: Final = 100_000
"""By how much a page may take its arm time for later than it is."""
WISHES_PER_S: Final = 60.0
WISHES_AT_ONCE: Final = 120


class _Wish(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)

    number: Annotated[int, Field(ge=1, le=2**53 - 1)]
    """Grows with every wish of a feed."""
    at_us: Annotated[int, Field(ge=0, le=2**53 - 1)]
    """Arm time at which the hand made it."""


class JogWish(_Wish, JogBody):
    """Turn these joints and no others."""

    type: Literal["jog"]


class StepWish(_Wish, StepBody):
    """Turn one joint by an angle."""

    type: Literal["step"]


class GoWish(_Wish, GoBody):
    """Go to a place."""

    type: Literal["go"]


class HomeWish(_Wish, HoldHomeBody):
    """Home a joint."""

    type: Literal["home"]


Wish = JogWish | StepWish | GoWish | HomeWish
_WISH: Final[TypeAdapter[Wish]] = TypeAdapter(Annotated[Wish, Field(discriminator="type")])


class NoWish(Exception):
    """What came is no wish; the text is a sentence."""


class OldSession(Exception):
    """The feed is of an earlier session. The laptop may have slept: arm time stood still then, and
    what a page elsewhere takes for arm time makes its wishes look younger than they are.
    """


class Wishes:
    """The wishes of one feed.

    `command` carries one out, `go_to` gives the command for a place; both may raise Refused.
    `session` tells the one in force.
    """

    def __init__(
        self,
        command: Callable[[Command], None],
        go_to: Callable[[GoBody], Go],
        session: Callable[[], int],
    ) -> None:
        self._command = command
        self._go_to = go_to
        self._session = session
        self._begun_in = session()
        self._last = 0
        self._buckets = Buckets(WISHES_PER_S, WISHES_AT_ONCE)

    def take(self, text: str, now: int) -> Mapping[str, object] | None:
        """Obey a wish; what to answer, None where it is obeyed. Raises NoWish, OldSession."""
        if self._session() != self._begun_in:
            raise OldSession
        try:
            wish = _WISH.validate_json(text)
        except ValidationError as error:
            first = error.errors(include_url=False, include_input=False)[0]
            where = ".".join(map(str, first["loc"])) or "it"
            raise NoWish(f"no wish: {where}: {first['msg']}") from error
        if wish.number <= self._last:
            return None  # sent twice, or overtaken: the newer one counts
        self._last = wish.number
        waited_us = now - wish.at_us
        oldest_us = STEP_OLD_US if isinstance(wish, StepWish) else JOG_OLD_US
        if self._buckets.wait_us("", now):
            return _refused(wish, "rate", f"over {WISHES_PER_S:g} wishes a second")
        if isinstance(wish, JogWish) and not any(wish.velocities_deg_s.values()):
            pass  # to let go is never too late
        elif not -AHEAD_US <= waited_us <= oldest_us:
            sentence = f"a wish of {waited_us / 1000:.0f} ms ago, {oldest_us // 1000} ms at most"
            return _refused(wish, "wish-old", sentence)
        try:
            self._command(self._asked(wish))
        except Refused as no:
            return _refused(wish, no.code, str(no))
        return None

    def _asked(self, wish: Wish) -> Command:
        if isinstance(wish, JogWish):
            return Jog(wish.velocities_deg_s)
        if isinstance(wish, GoWish):
            return self._go_to(wish)
        if isinstance(wish, HomeWish):
            return HoldHome(wish.joint)
        return Step(wish.joint, wish.by_deg, wish.speed_deg_s)


def _refused(wish: Wish, code: str, message: str) -> Mapping[str, object]:
    return {"type": "refused", "number": wish.number, "code": code, "message": message}
