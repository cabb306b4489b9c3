"""Where a coordinator is, and how a client names itself there."""

import getpass
import hashlib
import socket
import ssl
from dataclasses import dataclass
from pathlib import Path
from typing import Self

import httpx2

from coordinator.client.errors import WrongInput
from coordinator.config.regular_file import require_regular
from coordinator.config.settings import API_PREFIX, DEFAULT_URL


@dataclass(frozen=True, slots=True)
class Place:
    """What every request to one coordinator has in common."""

    url: str
    """Without a slash at its end."""
    api: httpx2.URL
    headers: dict[str, str]
    verify: ssl.SSLContext | bool
    """Which certificate is trusted."""

    @classmethod
    def at(cls, url: str, token: str, certificate: Path | None) -> Self:
        """What a caller says of it. Raises WrongInput."""
        whole = url.rstrip("/")
        if whole.endswith(API_PREFIX):
            told = whole.removesuffix(API_PREFIX)
            raise WrongInput(f"{url!r} names the API's own path: leave it out, as in {told}")
        try:
            api = httpx2.URL(whole + API_PREFIX)
        except (httpx2.InvalidURL, ValueError) as error:
            raise WrongInput(f"{url!r} is no address: {error}") from error
        # A resolver would take no host for a name, and a port modulo 65536: another's port.
        if api.query or api.fragment or api.scheme not in ("http", "https") or not api.host:
            raise WrongInput(f"{url!r} is no address of a coordinator, such as {DEFAULT_URL}")
        if token and not (token.isascii() and token.isprintable()):
            raise WrongInput("the token has characters that no token has")
        if api.port is not None and not 1 <= api.port <= 65535:
            raise WrongInput(f"{url!r} has the port {api.port}, which is not 1 to 65535")
        headers = _who(token)
        if token and api.scheme == "https":  # never where others can read it
            headers["Authorization"] = f"Bearer {token}"
        return cls(whole, api, headers, _trust(certificate) if certificate else True)


def _trust(certificate: Path) -> ssl.SSLContext:
    """Trust one certificate and nothing else. Raises WrongInput."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    try:
        require_regular(certificate)
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
