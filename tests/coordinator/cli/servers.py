"""Web servers that stand in for a coordinator."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

Answer = tuple[int, dict[str, str], bytes]
"""Status, headers and body."""


@contextmanager
def served(answer: Callable[[str, bytes], Answer]) -> Iterator[str]:
    """A server on loopback that answers a path and a body, empty for GET; its address."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self) -> None:
            asked = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            status, headers, body = answer(self.path, asked)
            self.send_response(status)
            for name, value in {**headers, "Content-Length": str(len(body))}.items():
                self.send_header(name, value)
            self.end_headers()
            self.wfile.write(body)

        def do_POST(self) -> None:
            self.do_GET()

        def log_message(self, format: str, *args: object) -> None:
            """Stay quiet."""

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        serving = threading.Thread(target=server.serve_forever)
        serving.start()
        yield f"http://127.0.0.1:{server.server_address[1]}"
        server.shutdown()
        serving.join()
