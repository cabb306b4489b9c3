"""The journal."""

from collections.abc import AsyncIterator
from typing import Final

from coordinator.answers.records import Event
from coordinator.client.questions.asked import Asked

LISTEN_S: Final = 0.25
"""Between two looks into the journal."""
PAGE: Final = 500
"""Lines of the journal that are asked for at once, the most that are given."""


class JournalQuestions(Asked):
    """What happened and was commanded."""

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
