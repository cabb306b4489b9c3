"""One request to a coordinator: what it answers, or why there is no answer.

JSON is taken apart here and nowhere else in the client.
"""

import contextlib
import json
import ssl
from typing import Any, Final, TypeVar
from urllib.parse import urlsplit

import httpx2

from coordinator.client.errors import (
    ClientError,
    Closed,
    NobodyThere,
    NotUnderstood,
    Refused,
    Unreachable,
    WrongInput,
)
from coordinator.client.reading import Unlike, read
from coordinator.client.transport import Hear, Transport
from coordinator.codes.os_words import os_words
from coordinator.programs.progress import Progress, Tell

T = TypeVar("T")
Answer = dict[str, Any]
"""An answer as it came."""

PATIENCE_S: Final = 5.0
"""Everything but a program is answered at once: who takes longer hangs."""


class Asking:
    """Asks one coordinator. `answers` keeps the newest answer of each kind, as it came."""

    def __init__(self, url: str, transport: Transport) -> None:
        self.url = url
        self.transport = transport
        self.answers: dict[str, Answer] = {}

    async def ask(
        self,
        kind: str,
        method: str,
        path: str,
        body: object = None,
        *,
        has: str,
        patience_s: float | None = None,
    ) -> Answer:
        """What is answered. Who does not name the member `has` is some other service."""
        response = await self.response(method, path, body, patience_s)
        with contextlib.suppress(ValueError):
            answer = response.json()
            if isinstance(answer, dict) and has in answer:
                self.answers[kind] = answer
                return answer
        raise self.no_coordinator()

    async def ask_long(
        self,
        kind: str,
        method: str,
        path: str,
        body: object,
        tell: Tell,
        *,
        has: str,
        patience_s: float,
    ) -> Answer:
        """The same of what may take long, and tells meanwhile how far it is.

        Where this is left, as by what `tell` raises, the connection is closed and the work ends.
        """
        last: Answer = {}

        def hear(line: bytes) -> None:
            told = self._line(line)
            if "progress" in told:
                tell(self.read(Progress, told["progress"], "progress"))
            else:
                last.update(told)

        response = await self.response(method, path, body, patience_s, hear)
        if response.content:  # of an older coordinator, which tells nothing meanwhile
            last["answer"] = self._line(response.content)
        answer, problem = last.get("answer"), last.get("problem")
        if isinstance(problem, dict):
            raise self._error_of(int(problem.get("status", 500)), problem)
        if not isinstance(answer, dict) or has not in answer:
            raise self.no_coordinator()
        self.answers[kind] = answer
        return answer

    def _line(self, line: bytes) -> Answer:
        try:
            told = json.loads(line)
        except ValueError as error:
            raise self.no_coordinator() from error
        if not isinstance(told, dict):
            raise self.no_coordinator()
        return told

    def read(self, kind: type[T], value: object, member: str = "") -> T:
        """The value that an answer, or a part of it, tells of. Raises NotUnderstood."""
        try:
            return read(kind, value, member)
        except Unlike as error:
            what = f"what the coordinator at {self.url} answers is not understood"
            raise NotUnderstood(
                f"{what}: {error.member} {error}; it may be of another version",
                error.member,
            ) from error

    async def response(
        self,
        method: str,
        path: str,
        body: object = None,
        patience_s: float | None = None,
        hear: Hear | None = None,
    ) -> httpx2.Response:
        """A response that says that it was done, within PATIENCE_S unless another time is given;
        what comes in lines goes to who wants to `hear` it.
        """
        patience_s = PATIENCE_S if patience_s is None else patience_s
        try:
            if hear is None:
                response = await self.transport.request(method, path, body, patience_s)
            else:
                response = await self.transport.stream(method, path, body, patience_s, hear)
        except RuntimeError as error:
            if not self.transport.closed:
                raise
            was_closed = f"the client of {self.url} was closed"
            raise Closed(f"{was_closed}: nothing was asked; make a new one") from error
        except ValueError as error:  # a number or a character that JSON does not have
            raise WrongInput(f"{path} cannot be asked for that: {error}") from error
        except (httpx2.ReadTimeout, httpx2.WriteTimeout) as error:
            late = "" if method == "GET" else ", and may still do later what it was asked"
            raise Unreachable(
                f"the coordinator at {self.url} hangs: it takes connections, but has not answered "
                f"within {patience_s:g} s{late}"
            ) from error
        except httpx2.RequestError as error:
            raise self._unreachable(error) from error
        if response.is_success:
            return response
        try:
            answer = response.json()
        except ValueError as error:
            raise self.no_coordinator() from error
        raise self._error_of(response.status_code, answer)

    def no_coordinator(self) -> Unreachable:
        """That something else answers."""
        return Unreachable(f"what answers at {self.url} is no coordinator")

    def _unreachable(self, error: httpx2.RequestError) -> Unreachable:
        if "CERTIFICATE_VERIFY_FAILED" in str(error):
            return Unreachable(
                f"{self.url} shows a certificate that is not trusted; name the coordinator's "
                "own, DATA/cert.pem, in UNISONO_CERTIFICATE"
            )
        if "WRONG_VERSION_NUMBER" in str(error):  # of the TLS record: it is plain text
            return Unreachable(
                f"what answers at {self.url} speaks no HTTPS; a coordinator on loopback is "
                "asked by http://"
            )
        kind = NobodyThere if _is_nobody_there(error) else Unreachable
        if isinstance(error, httpx2.RemoteProtocolError) and self.url.startswith("http:"):
            way = "one that was started with --listen is asked by https://"
            return kind(no_answer(self.url, error, way))
        return kind(no_answer(self.url, error))

    def _error_of(self, status: int, answer: Any) -> ClientError:
        """What a problem amounts to (RFC 9457)."""
        if not isinstance(answer, dict) or "detail" not in answer:
            return self.no_coordinator()
        detail, code = str(answer["detail"]), str(answer.get("type", "")).rpartition(":")[2]
        if status == 404 and detail == "Not Found" and urlsplit(self.url).path:
            told = f"Not Found: leave out of {self.url} what follows its host and port"
            return WrongInput(told, code=code)
        if status in (401, 403, 409, 429) or code in ("busy", "store"):
            return Refused(code, detail)
        if status >= 500:
            failed = Unreachable(f"the coordinator at {self.url} failed: {detail}")
            failed.code = code
            return failed
        if code != "program":
            return WrongInput(detail, code=code)
        from coordinator.client.values import Problem

        try:
            mistakes = self.read(tuple[Problem, ...], answer.get("errors"), "errors")
        except NotUnderstood as error:
            return error
        return WrongInput(detail, mistakes, code)


def no_answer(url: str, error: Exception, way: str = "start one with 'unisono serve'") -> str:
    """That nothing there answers as a coordinator does: why, and what there is to do."""
    why = os_words(_of_the_system(error) or error).rstrip(".")
    return f"no coordinator answers at {url}: {why}; {way}"


def _of_the_system(error: BaseException) -> OSError | None:
    """The system's own error behind what libraries have made of it, one of several."""
    cause: BaseException | None = error
    while cause is not None:
        if isinstance(cause, OSError) and (cause.errno is not None or type(cause) is TimeoutError):
            return cause
        if isinstance(cause, BaseExceptionGroup):
            cause = cause.exceptions[0]
        else:
            cause = cause.__cause__ or cause.__context__
    return None


def _is_nobody_there(error: httpx2.RequestError) -> bool:
    """Whether no connection could be made. Who takes it and speaks no TLS is somebody; a time that
    ran out says nothing.
    """
    cause: BaseException | None = error
    while cause is not None and not isinstance(cause, ssl.SSLError | ConnectionResetError):
        cause = cause.__context__
    return isinstance(error, httpx2.ConnectError) and cause is None
