"""Who may speak to a server on loopback: not a web page of somebody else (design section 10).

A browser sends requests to 127.0.0.1 for any page. A foreign page's own name in `Host` (after DNS
rebinding) or in `Origin` gives it away.
"""

import re
from typing import Final

from starlette.types import ASGIApp, Receive, Scope, Send

from coordinator.api.problems import problem

_HOST: Final = re.compile(r"(localhost|127\.0\.0\.1|\[::1\])(:\d{1,5})?", re.IGNORECASE)


class LoopbackOnly:
    """Lets through only what names this host, and comes from no page or from one of this host."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check an HTTP request or a WebSocket, then pass it on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        found = _objection(
            [value.decode("latin-1") for name, value in scope["headers"] if name == b"host"],
            [value.decode("latin-1") for name, value in scope["headers"] if name == b"origin"],
        )
        if found is None:
            await self._app(scope, receive, send)
        else:
            await problem(403, *found)(scope, receive, send)


def _objection(hosts: list[str], origins: list[str]) -> tuple[str, str] | None:
    """Code and sentence of what is wrong with these headers, None if nothing is."""
    host = hosts[0] if len(hosts) == 1 else ""
    if not _HOST.fullmatch(host):
        return "host", f"Host is {host!r}, but must name this host: localhost, 127.0.0.1 or [::1]"
    if origins and origins != [f"http://{host}"]:
        return "origin", f"Origin is {origins[0]!r}, but pages of http://{host} only may ask"
    return None
