"""Who may speak to a server on loopback: not a web page of somebody else (design section 10).
And how much: a body that is too large is not read to its end.

A browser sends requests to 127.0.0.1 for any page. A foreign page's own name in `Host` (after DNS
rebinding) or in `Origin` gives it away.
"""

import re
from typing import Final

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from coordinator.api.problems import problem

_HOST: Final = re.compile(r"(localhost|127\.0\.0\.1|\[::1\])(:\d{1,5})?", re.IGNORECASE)


class LoopbackOnly:
    """Lets through only what names this host, and comes from no page or from one of this host."""

    def __init__(self, app: ASGIApp, max_body_bytes: int) -> None:
        self._app = app
        self._max_body_bytes = max_body_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check an HTTP request or a WebSocket, then pass it on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return

        def header(wanted: bytes) -> list[str]:
            return [value.decode("latin-1") for name, value in scope["headers"] if name == wanted]

        found = _objection(header(b"host"), header(b"origin"))
        if found is not None:
            await problem(403, *found)(scope, receive, send)
            return
        body = await self._body(receive) if scope["type"] == "http" else []
        if body is None:
            sentence = f"a body of more than {self._max_body_bytes} bytes"
            await problem(413, "too-large", sentence)(scope, receive, send)
            return

        async def replay() -> Message:
            return body.pop(0) if body else await receive()

        await self._app(scope, replay, send)

    async def _body(self, receive: Receive) -> list[Message] | None:
        """The messages that bring a request's body, None when there is too much of it."""
        messages: list[Message] = []
        size = 0
        while not messages or messages[-1].get("more_body", False):
            messages.append(await receive())
            size += len(messages[-1].get("body", b""))
            if size > self._max_body_bytes:
                return None
        return messages


def _objection(hosts: list[str], origins: list[str]) -> tuple[str, str] | None:
    """Code and sentence of what is wrong with these headers, None if nothing is."""
    host = hosts[0] if len(hosts) == 1 else ""
    if not _HOST.fullmatch(host):
        return "host", f"Host is {host!r}, but must name this host: localhost, 127.0.0.1 or [::1]"
    if origins and origins != [f"http://{host}"]:
        return "origin", f"Origin is {origins[0]!r}, but pages of http://{host} only may ask"
    return None
