"""The page: static files, and what the browser may do with them.

The browser loads nothing from elsewhere and runs no script that is not one of these files, but for
the import map, which the policy names by its hash.
"""

import base64
import hashlib
import re
from pathlib import Path
from typing import Final

from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from starlette.responses import FileResponse, Response
from starlette.types import Scope

from coordinator.config.settings import DEMO_PROGRAM
from coordinator.web import WEB

_IMPORT_MAP: Final = re.compile(r'<script type="importmap">(.*?)</script>', re.DOTALL)


def content_security_policy(page: str) -> str:
    """The policy for a page with one import map."""
    found = _IMPORT_MAP.search(page)
    assert found is not None
    digest = base64.b64encode(hashlib.sha256(found[1].encode()).digest()).decode()
    return (
        "default-src 'none'; connect-src 'self'; img-src 'self'; style-src 'self'; "
        f"script-src 'self' 'sha256-{digest}'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )


class _Page(StaticFiles):
    """The files, each to be asked for anew: a coordinator may have been replaced since."""

    def __init__(self, folder: Path) -> None:
        super().__init__(directory=folder, html=True)
        page = (folder / "index.html").read_text(encoding="utf-8")
        self._headers = {
            "Cache-Control": "no-cache",
            "Content-Security-Policy": content_security_policy(page),
            "Cross-Origin-Opener-Policy": "same-origin",
            "Cross-Origin-Resource-Policy": "same-origin",
            "Referrer-Policy": "no-referrer",
            "X-Content-Type-Options": "nosniff",
        }

    async def get_response(self, path: str, scope: Scope) -> Response:
        """One file with the headers."""
        response = await super().get_response(path, scope)
        response.headers.update(self._headers)
        return response


def add_page(app: FastAPI) -> None:
    """Serve the page at `/`. To be added last: it answers every path that nothing else does."""

    @app.get(f"/examples/{DEMO_PROGRAM.name}", include_in_schema=False)
    async def example() -> Response:
        headers = {"X-Content-Type-Options": "nosniff"}
        return FileResponse(DEMO_PROGRAM, media_type="text/plain; charset=utf-8", headers=headers)

    app.mount("/", _Page(WEB))
