"""What passes on the feed between a page and its coordinator."""

import json
from typing import Any

from playwright.sync_api import Page, WebSocketRoute


class Between:
    """What passes between a page and its coordinator, held back if a test says so."""

    def __init__(self) -> None:
        self.holds_back = False
        self.kept: list[str] = []
        self.wishes: list[dict[str, Any]] = []
        self.refused: list[dict[str, Any]] = []
        self._server: WebSocketRoute | None = None

    def attach(self, page: Page) -> None:
        page.route_web_socket("**/api/v1/feed**", self._open)

    def let_through(self) -> None:
        """All that was kept arrives."""
        assert self._server is not None
        self.holds_back = False
        for text in self.kept:
            self._server.send(text)

    def _open(self, route: WebSocketRoute) -> None:
        server = self._server = route.connect_to_server()

        def said(text: str | bytes) -> None:
            assert isinstance(text, str)
            self.wishes.append(json.loads(text))
            if self.holds_back:
                self.kept.append(text)
            else:
                server.send(text)

        def answered(text: str | bytes) -> None:
            message = json.loads(text)
            if message["type"] == "refused":
                self.refused.append(message)
            route.send(text)

        route.on_message(said)
        server.on_message(answered)
