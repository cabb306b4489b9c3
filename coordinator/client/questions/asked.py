"""What all questions have: what carries them, and the few forms that they come in."""

from urllib.parse import quote

from coordinator.client.asking import Answer, Asking
from coordinator.client.questions import patience


class Asked:
    """A coordinator, asked over any transport."""

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

    async def _text(
        self, path: str, media_type: str = "text/plain", patience_s: float | None = None
    ) -> str:
        response = await self._asking.response("GET", path, patience_s=patience_s)
        if not response.headers.get("Content-Type", "").startswith(media_type):
            raise self._asking.no_coordinator()
        return response.text

    async def _command(
        self, path: str, body: object = None, *, patience_s: float | None = None
    ) -> None:
        """Have something done; what comes of it, the arm's state tells."""
        await self._asking.ask("command", "POST", path, body, has="phase", patience_s=patience_s)

    async def _look(self) -> None:
        """Let pass what is between two looks at how something goes."""
        await self._asking.transport.sleep(patience.LOOK_S)


def of_joint(joint: str, what: str) -> str:
    """Where something of a joint is asked for."""
    return f"/joints/{quote(joint, safe='')}/{what}"
