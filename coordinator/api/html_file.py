"""A file of HTML as an answer."""

from typing import Literal

from fastapi import Response


def html_file(page: str, name: str, disposition: Literal["attachment", "inline"]) -> Response:
    """To be saved, or shown; where a browser shows it, nothing in it can act."""
    headers = {
        "Content-Disposition": f'{disposition}; filename="{name}"',
        "Content-Security-Policy": "default-src 'none'; style-src 'unsafe-inline'; sandbox",
        "X-Content-Type-Options": "nosniff",
    }
    return Response(page, media_type="text/html; charset=utf-8", headers=headers)
