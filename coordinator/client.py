"""What speaks to a running coordinator over its HTTP API: the command line, and scripts."""

import getpass
import hashlib
import socket
import ssl
from pathlib import Path
from types import TracebackType
from typing import Any, Final, Self

import httpx2

from coordinator.settings import API_PREFIX, DEFAULT_URL

PATIENCE_S: Final = 30.0
"""Checking a long program takes seconds; everything else answers at once."""


class ClientError(Exception):
    """The coordinator did not do what it was asked; the text is a sentence.

    ClientError
     ├── Unreachable   nothing answers there, or not as a coordinator does
     ├── WrongInput    the request asks for what cannot be
     └── Refused       the arm is not in a state for it, or the client may not ask for it
    """


class Unreachable(ClientError):
    """Nothing answers at the address, or not as a coordinator does."""


class WrongInput(ClientError):
    """The input is wrong. `errors` names a program's mistakes, with line and column."""

    def __init__(self, message: str, errors: list[dict[str, Any]] | None = None) -> None:
        super().__init__(message)
        self.errors = errors or []


class Refused(ClientError):
    """The arm or its coordinator refused. `code` is stable."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code


class Client:
    """A connection to a coordinator; every method raises ClientError.

    Where the coordinator is not on loopback it takes a token, and its own certificate as a file:
    that one is trusted, and no other.
    """

    def __init__(
        self, url: str = DEFAULT_URL, token: str = "", certificate: Path | None = None
    ) -> None:
        self.url = url.rstrip("/")
        try:
            # No proxy from the environment: the coordinator is on this host or its own network.
            self._http = httpx2.Client(
                base_url=self.url + API_PREFIX,
                timeout=PATIENCE_S,
                trust_env=False,
                headers=_who(token),
                verify=_trust(certificate) if certificate else True,
            )
        except (httpx2.InvalidURL, ValueError) as error:
            raise WrongInput(f"{url!r} is no address: {error}") from error
        base = self._http.base_url
        # A resolver would take no host for a name, and a port modulo 65536: another's port.
        if base.scheme not in ("http", "https") or not base.host:
            raise WrongInput(f"{url!r} is no address of a coordinator, such as {DEFAULT_URL}")
        if not token.isascii():
            raise WrongInput("the token has characters that no token has")
        if token and base.scheme == "https":  # never where others can read it
            self._http.headers["Authorization"] = f"Bearer {token}"
        if base.port is not None and not 1 <= base.port <= 65535:
            raise WrongInput(f"{url!r} has the port {base.port}, which is not 1 to 65535")

    def __enter__(self) -> Self:
        """Use as a context that closes the connection."""
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        """Close the connection."""
        self._http.close()

    def arm(self) -> dict[str, Any]:
        """The arm's state."""
        return self._ask("GET", "/arm")

    def is_up(self) -> bool:
        """Whether a coordinator answers."""
        try:
            self._ask("GET", "/healthz")
        except Unreachable:
            return False
        return True

    def home(self, joints: list[str]) -> int:
        """Begin to home; the homing's number."""
        return int(self._ask("POST", "/home", {"joints": joints})["homing"])

    def homing(self, number: int) -> dict[str, Any]:
        """How a homing goes."""
        return self._ask("GET", f"/homings/{number}")

    def play(self, name: str, text: str) -> int:
        """Play a program; the run's number."""
        return int(self._ask("POST", "/runs", {"name": name, "text": text})["run"])

    def last_run(self) -> int | None:
        """The newest run's number, None if nothing was played yet."""
        runs = self._ask("GET", "/runs?limit=1")["runs"]
        return int(runs[0]["run"]) if runs else None

    def run(self, number: int) -> dict[str, Any]:
        """Where a run is."""
        return self._ask("GET", f"/runs/{number}")

    def report(self, number: int) -> dict[str, Any]:
        """A run's report."""
        return self._ask("GET", f"/runs/{number}/report")

    def warnings(self) -> list[dict[str, Any]]:
        """The warnings that stand, oldest first."""
        return list(self._ask("GET", "/warnings")["warnings"])

    def see(self, warning: int) -> dict[str, Any]:
        """Say that a warning was seen; the warning."""
        return self._ask("POST", f"/warnings/{warning}/seen")

    def hold(self) -> None:
        """Come to rest on the path."""
        self._ask("POST", "/hold")

    def resume(self) -> None:
        """Go on after a hold or a pause."""
        self._ask("POST", "/resume")

    def stop(self, level: str) -> None:
        """Stop: `stop`, `stop-and-release` or `release`."""
        self._ask("POST", "/stop", {"level": level})

    def override(self, percent: float) -> None:
        """Set the feed override, 5 to 100 %."""
        self._ask("POST", "/override", {"percent": percent})

    def control(self) -> dict[str, Any]:
        """Who has control of the arm's motion."""
        return self._ask("GET", "/control")

    def take_control(self) -> dict[str, Any]:
        """Take control over; what moves for somebody else is held first."""
        return self._ask("POST", "/control/take")

    def release_control(self) -> dict[str, Any]:
        """Give control back, if this client has it."""
        return self._ask("POST", "/control/release")

    def _ask(self, method: str, path: str, body: dict[str, Any] | None = None) -> dict[str, Any]:
        try:
            response = self._http.request(method, path, json=body)
        except ValueError as error:  # a number or a character that JSON does not have
            raise WrongInput(f"{path} cannot be asked for that: {error}") from error
        except httpx2.RequestError as error:
            if "CERTIFICATE_VERIFY_FAILED" in str(error):
                raise Unreachable(
                    f"{self.url} shows a certificate that is not trusted; name the coordinator's "
                    "own, DATA/cert.pem, in UNISONO_CERTIFICATE"
                ) from error
            raise Unreachable(
                f"no coordinator answers at {self.url} ({error}); start one with 'unisono serve'"
            ) from error
        try:
            answer = response.json()
        except ValueError as error:
            raise Unreachable(f"what answers at {self.url} is no coordinator") from error
        if response.is_success:
            if not isinstance(answer, dict):
                raise Unreachable(f"what answers at {self.url} is no coordinator")
            return answer
        raise _error_of(response.status_code, answer, self.url)


def _trust(certificate: Path) -> ssl.SSLContext:
    """Trust one certificate and nothing else. Raises WrongInput."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    try:
        context.load_verify_locations(certificate)
    except OSError as error:  # ssl.SSLError too
        raise WrongInput(f"{certificate} holds no certificate: {error.strerror}") from error
    return context


def _who(token: str) -> dict[str, str]:
    """How this client names itself.

    The terminals of one user on one computer are one client: who plays in one may resume in
    another.
    """
    try:
        user = getpass.getuser()
    except (OSError, KeyError):  # a user without a name
        user = "somebody"
    place = f"{user}@{socket.gethostname()}"
    shown = "".join(letter if " " <= letter <= "~" else "?" for letter in place)
    return {
        "Unisono-Client": hashlib.sha256(f"{token} {place}".encode()).hexdigest(),
        "Unisono-Client-Name": f"the terminal of {shown}"[:40],
    }


def _error_of(status: int, answer: Any, url: str) -> ClientError:
    if not isinstance(answer, dict) or "detail" not in answer:
        return Unreachable(f"what answers at {url} is no coordinator")
    detail, code = str(answer["detail"]), str(answer.get("type", "")).rpartition(":")[2]
    if status in (401, 403, 409, 429) or code in ("busy", "store"):
        return Refused(code, detail)
    if status >= 500:
        return Unreachable(f"the coordinator at {url} failed: {detail}")
    errors = answer.get("errors") if code == "program" else None
    return WrongInput(detail, errors)
