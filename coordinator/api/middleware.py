"""What every request must pass before it reaches a route (design section 10).

`Host` and `Origin`: a browser sends requests to this host for any page. A foreign page's own name
in `Host` (after DNS rebinding) or in `Origin` gives it away.
Rate: commands and questions that come too fast wait, but for hold and stop, which never do.
Token: not on loopback.
Body: one that is too large or too slow is not read to its end; long ones come one at a time.
"""

import asyncio
import re
from contextlib import AsyncExitStack
from typing import Final

from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from coordinator.api.authentication import Authentication, address_of, later, token_in
from coordinator.api.problems import busy, problem
from coordinator.api.rate_limits import Buckets
from coordinator.api.served_at import ServedAt
from coordinator.api.tokens import Role
from coordinator.config.data_folder import DataFolderError
from coordinator.config.settings import API_PREFIX
from coordinator.core.updating.signed import MAX_SIGNED_BYTES
from coordinator.links.clock import arm_now_us
from coordinator.programs.size import MAX_LONG_BYTES

POSTS_PER_S: Final = 50.0
POSTS_AT_ONCE: Final = 100
"""A page that jogs and drags the override asks 20 times a second."""
BODY_S: Final = 15.0
"""For a whole body: the longest program, with every line end as two bytes, at 1.2 Mbit/s."""
LONG_S: Final = 120.0
"""For a long program's text, or a joint's firmware: at 2 Mbit/s."""
READS_PER_S: Final = 200.0
READS_AT_ONCE: Final = 400
"""Of the API: the page's own files, the feed and the probes are not counted."""
POLICY: Final = 1008
"""WebSocket close code for a client that may not (RFC 6455 section 7.4.1)."""
_STOPPING: Final = (f"{API_PREFIX}/hold", f"{API_PREFIX}/stop")
_OPEN: Final = (f"{API_PREFIX}/session", f"{API_PREFIX}/healthz")
"""What needs no token, as the page's files and the probes at the root do not."""
_TEXTS: Final = f"{API_PREFIX}/texts"
_UPDATE: Final = re.compile(rf"{API_PREFIX}/joints/[^/]+/update")
_FEED: Final = f"{API_PREFIX}/feed"
_METRICS: Final = "/metrics"
_READING: Final = ("GET", "HEAD")
_CLOSE: Final = {"Connection": "close"}
_PORT: Final = re.compile(r"(:\d{1,5})?")


class RequestChecks:
    """Lets through what may come to this served_at."""

    def __init__(
        self, app: ASGIApp, served_at: ServedAt, max_body_bytes: int, body_s: float = BODY_S
    ) -> None:
        self._app = app
        self._place = served_at
        self._max_body_bytes = max_body_bytes
        self._body_s = body_s
        self._posts = Buckets(POSTS_PER_S, POSTS_AT_ONCE)
        self._reads = Buckets(READS_PER_S, READS_AT_ONCE)
        self._long = asyncio.Lock()
        """Held from when a body is long until it is answered: they are in memory meanwhile."""

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check an HTTP request or a WebSocket, then pass it on."""
        if scope["type"] not in ("http", "websocket"):
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        objection = (
            self._objection_to_names(scope, headers)
            or self._objection_to_role(scope, headers)
            # Who has no token does not use up what those behind the same address may ask.
            or self._objection_to_rate(scope)
        )
        async with AsyncExitStack() as held:
            if objection is None and scope["type"] == "http":
                body = await self._body(_longest(scope["path"]), headers, receive, held)
                if isinstance(body, Response):
                    objection = body
                else:
                    receive = _replayed(body, receive)
            elif objection is None and self._place.access is not None:
                send = _while_valid(self._place.access, token_in(headers), send)
            await (objection or self._app)(scope, receive, send)

    def _objection_to_names(self, scope: Scope, headers: Headers) -> Response | None:
        hosts, origins = headers.getlist("host"), headers.getlist("origin")
        host = hosts[0] if len(hosts) == 1 else ""
        if not self._serves(host):
            known = " or ".join(self._place.hosts)
            return problem(403, "host", f"Host is {host!r}, but must name this host: {known}")
        own = f"{self._place.scheme}://{host}"
        if origins and origins != [own]:
            sentence = f"Origin is {origins[0]!r}, but pages of {own} only may ask"
            return problem(403, "origin", sentence)
        return None

    def _serves(self, host: str) -> bool:
        return any(
            host.lower().startswith(served) and _PORT.fullmatch(host[len(served) :])
            for served in self._place.hosts
        )

    def _objection_to_rate(self, scope: Scope) -> Response | None:
        path = scope["path"]
        reads = scope["type"] == "websocket" or scope["method"] in _READING
        # Who opens the page needs its files for its Stop; they, feed and probes cost little.
        free = not path.startswith(API_PREFIX) or path in (*_OPEN, _FEED)
        if path in _STOPPING or (reads and free):
            return None
        buckets = self._reads if reads else self._posts
        wait_us = buckets.wait_us(address_of(scope), arm_now_us())
        if not wait_us:
            return None
        what = f"{READS_PER_S:g} questions" if reads else f"{POSTS_PER_S:g} commands"
        return later("rate", f"over {what} a second from one address", wait_us)

    def _objection_to_role(self, scope: Scope, headers: Headers) -> Response | None:
        """Find what the client may do, for the routes too."""
        state = scope.setdefault("state", {})
        state["role"] = Role.OPERATE
        if self._place.access is None:
            return None
        token = token_in(headers)
        try:
            role = state["role"] = self._place.access.role_of(token)
        except DataFolderError as error:
            return problem(500, "data-folder", str(error))
        path = scope["path"]
        if not path.startswith((API_PREFIX, _METRICS)) or path in _OPEN:
            return None
        if role is None:
            return self._place.access.refusal(token, address_of(scope))
        reads = scope["type"] == "websocket" or scope["method"] in _READING
        if role is Role.OPERATE or reads or path in _STOPPING:
            return None
        return problem(403, "role", "this token may watch, hold and stop; that takes the other one")

    async def _body(
        self, longest: int | None, headers: Headers, receive: Receive, held: AsyncExitStack
    ) -> list[Message] | Response:
        """The messages that bring a request's body, or the answer to one that must not come.

        `longest`: of one that may be long, in bytes. While such a one is `held`, no other comes.
        """
        limit, within_s = self._max_body_bytes, self._body_s
        if longest is not None:
            limit, within_s = longest, LONG_S
        # Whoever sends on is not listened to: the answer closes the connection.
        sentence = f"a body of more than {limit} bytes"
        too_large = problem(413, "too-large", sentence, headers=_CLOSE)
        told = headers.get("content-length", "")
        announced = int(told) if told.isdecimal() else 0
        if announced > limit:
            return too_large
        messages: list[Message] = []
        size, is_long = 0, False
        try:
            async with asyncio.timeout(within_s):
                while not messages or messages[-1].get("more_body", False):
                    if not is_long and max(size, announced) > self._max_body_bytes:
                        if self._long.locked():
                            return busy(
                                "another long text or image is on its way; try again later", _CLOSE
                            )
                        await held.enter_async_context(self._long)
                        is_long = True
                    messages.append(await receive())
                    size += len(messages[-1].get("body", b""))
                    if size > limit:
                        return too_large
        except TimeoutError:
            sentence = f"a body that was not there after {within_s:g} s"
            return problem(408, "slow", sentence, headers=_CLOSE)
        return messages


def _longest(path: str) -> int | None:
    """How long a body may be that comes to a path for long ones, in bytes."""
    if path == _TEXTS:
        return MAX_LONG_BYTES
    return MAX_SIGNED_BYTES if _UPDATE.fullmatch(path) else None


def _while_valid(access: Authentication, token: str | None, send: Send) -> Send:
    """Tell on a WebSocket no more once its token is void."""

    async def checked(message: Message) -> None:
        if message["type"] == "websocket.send" and access.role_of(token) is None:
            await send({"type": "websocket.close", "code": POLICY, "reason": "the token is void"})
            raise OSError("the token is void")  # what a connection that is gone raises
        await send(message)

    return checked


def _replayed(messages: list[Message], receive: Receive) -> Receive:
    async def replay() -> Message:
        return messages.pop(0) if messages else await receive()

    return replay
