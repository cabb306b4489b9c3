"""Work on a program, which may take minutes: it ends once whoever asked has left.

Who accepts NDJSON is told how far it is, line by line, and then what is answered: one request, so
that to close it is to cancel it.
"""

import asyncio
import logging
from collections.abc import Callable, Coroutine
from dataclasses import asdict
from typing import Any, Final, TypeVar

import orjson
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.types import Receive, Scope, Send

from coordinator.codes.refusal import RefusalCode
from coordinator.config.settings import API_PREFIX
from coordinator.core.events import Refused
from coordinator.programs.progress import Progress, Tell, untold

T = TypeVar("T")
LINES: Final = "application/x-ndjson"
TELL_S: Final = 0.25
"""Between two lines, also where nothing has changed: who hears none knows that it hangs."""
_logger = logging.getLogger(__name__)


async def long_work(
    request: Request, work: Callable[[Tell], Coroutine[Any, Any, Response]]
) -> Response:
    """What is answered by work, whose errors are those of any route."""
    if LINES in request.headers.get("accept", ""):
        return _Lines(request, work)
    task = asyncio.create_task(work(untold))
    gone = asyncio.create_task(_gone(request.receive))
    try:
        await asyncio.wait({task, gone}, return_when=asyncio.FIRST_COMPLETED)
        return await _ended(task)
    finally:
        task.cancel()
        gone.cancel()


def run_begun(number: int) -> Response:
    """The answer that a run has begun."""
    headers = {"Location": f"{API_PREFIX}/runs/{number}"}
    return JSONResponse({"run": number}, 202, headers=headers)


async def _gone(receive: Receive) -> None:
    """Wait until whoever asked has left. The body has been read before."""
    while (await receive())["type"] != "http.disconnect":
        pass


async def _ended(task: asyncio.Task[T]) -> T:
    """What was done, or Refused where it is cancelled for nobody is there."""
    if task.done():
        return await task
    task.cancel()
    try:
        return await task  # what was done in the last moment is done
    except asyncio.CancelledError:
        _logger.warning("a program is given up: whoever asked has left")
        raise Refused(RefusalCode.LEFT, "whoever asked has left") from None


class _Lines(Response):
    """Progress and the answer, a line of JSON each."""

    def __init__(
        self, request: Request, work: Callable[[Tell], Coroutine[Any, Any, Response]]
    ) -> None:
        super().__init__(media_type=LINES)
        del self.headers["content-length"]
        self._request, self._work = request, work
        self._progress: Progress | None = None

    def _tell(self, progress: Progress) -> None:
        self._progress = progress

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Begin the work, tell of it, and end it with whoever asked."""
        task = asyncio.create_task(self._work(self._tell))
        gone = asyncio.create_task(_gone(receive))
        try:
            head = {"type": "http.response.start", "status": 200, "headers": self.raw_headers}
            await send(head)
            while not (task.done() or gone.done()):
                await asyncio.wait({task, gone}, timeout=TELL_S, return_when="FIRST_COMPLETED")
                if self._progress is not None and not task.done():
                    told = orjson.dumps({"progress": asdict(self._progress)}) + b"\n"
                    await send({"type": "http.response.body", "body": told, "more_body": True})
            last = await self._answer(task)
            await send({"type": "http.response.body", "body": last})
        finally:
            task.cancel()
            gone.cancel()

    async def _answer(self, task: asyncio.Task[Response]) -> bytes:
        """The last line: what the work came to."""
        kind = "answer"
        try:
            response = await _ended(task)
        except Exception as error:
            kind, handlers = "problem", self._request.app.exception_handlers
            known = next(one for one in type(error).__mro__ if one in handlers)
            if known is Exception:
                _logger.exception("%s", self._request.url.path)
            response = await handlers[known](self._request, error)
        return b'{"%s":%s}\n' % (kind.encode(), bytes(response.body))
