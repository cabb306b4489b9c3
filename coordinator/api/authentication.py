"""Who comes with which token, where one is asked for; wrong ones are counted."""

import logging
from http.cookies import CookieError, SimpleCookie
from typing import Final

from starlette.datastructures import Headers
from starlette.responses import Response
from starlette.types import Scope

from coordinator.api.problems import problem
from coordinator.api.rate_limits import Mistakes
from coordinator.api.tokens import Role, Tokens
from coordinator.links.clock import arm_now_us

COOKIE: Final = "__Host-unisono"
"""With this prefix browsers insist on Secure, Path=/ and this very host (RFC 6265bis 4.1.3.2)."""
WRONG_TOKENS: Final = 10
WINDOW_US: Final = 60_000_000
_logger = logging.getLogger(__name__)


class Authentication:
    """The tokens of one served_at, and what was got wrong there."""

    def __init__(self, tokens: Tokens) -> None:
        self._tokens = tokens
        self._mistakes = Mistakes(WRONG_TOKENS, WINDOW_US)

    def role_of(self, token: str | None) -> Role | None:
        """What this token allows. Raises DataFolderError."""
        return self._tokens.role_of(token) if token is not None else None

    def refusal(self, token: str | None, address: str) -> Response:
        """The answer to no token or a wrong one. A right one is never kept waiting."""
        if token is None:
            return _unauthorized(
                "this needs a token: the coordinator showed two at its first start"
            )
        now = arm_now_us()
        if self._mistakes.count(address, now) == WRONG_TOKENS + 1:
            _logger.warning("%s gave more than %d wrong tokens in a minute", address, WRONG_TOKENS)
        wait_us = self._mistakes.wait_us(address, now)
        if wait_us:
            return later("token", "too many wrong tokens; wait a minute", wait_us)
        return _unauthorized("the token is wrong, or void since a new one was made")


def token_in(headers: Headers) -> str | None:
    """What a script gives as bearer token (RFC 6750), and a page as cookie."""
    scheme, _, token = headers.get("authorization", "").partition(" ")
    if scheme.lower() == "bearer":
        return token.strip()
    try:
        found = SimpleCookie(headers.get("cookie", "")).get(COOKIE)
    except CookieError:
        return None
    return found.value if found is not None else None


def address_of(scope: Scope) -> str:
    """The client's address."""
    client = scope.get("client")
    return str(client[0]) if client else ""


def later(code: str, sentence: str, wait_us: int) -> Response:
    """Come back in a while (RFC 6585)."""
    headers = {"Retry-After": str(-(-wait_us // 1_000_000))}
    return problem(429, code, sentence, headers=headers)


def _unauthorized(sentence: str) -> Response:
    return problem(401, "token", sentence, headers={"WWW-Authenticate": "Bearer"})
