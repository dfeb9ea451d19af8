"""The server of a review: on this machine's loopback alone, at a port that is free, behind a secret.

Each request is looked at by `arranger.review.guard` before anything else. What is answered comes from
`arranger.review.answers`; no path ever names a file.
"""

from __future__ import annotations

import secrets
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import BoundedSemaphore
from typing import TYPE_CHECKING, Any

from arranger.review.answers import Response
from arranger.review.guard import MOST_BYTES, Doors, refusal

if TYPE_CHECKING:
    import socket

    from arranger.review.answers import Answers

LOOPBACK = "127.0.0.1"
_PATIENCE_SECONDS = 30.0
"""For a request to come in whole."""
_MOST_AT_ONCE = 64
_HEADERS = {
    "Cache-Control": "no-store",
    "Referrer-Policy": "no-referrer",
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Content-Security-Policy": "frame-ancestors 'none'",
}


class Server(ThreadingHTTPServer):
    """Serves answers until it is shut down."""

    daemon_threads = True
    allow_reuse_address = False

    def __init__(self, answers: Answers, secret: str | None = None) -> None:
        super().__init__((LOOPBACK, 0), _Handler)
        self.answers = answers
        self.doors = Doors(self.server_address[1], secret or secrets.token_urlsafe(24))
        self._room = BoundedSemaphore(_MOST_AT_ONCE)

    def address(self, song: int | None = None) -> str:
        """Return the address of the first page, or of a song's."""
        start = f"{self.doors.origin}/{self.doors.secret}/"
        return start if song is None else f"{start}{song}/"

    def process_request(self, request: Any, client_address: Any) -> None:
        """Answer a request on a thread of its own, if there aren't too many."""
        if self._room.acquire(blocking=False):
            super().process_request(request, client_address)
        else:
            self.shutdown_request(request)

    def process_request_thread(self, request: Any, client_address: Any) -> None:
        """Answer a request."""
        try:
            super().process_request_thread(request, client_address)
        finally:
            self._room.release()

    def handle_error(
        self, request: socket.socket | tuple[bytes, socket.socket], client: Any
    ) -> None:
        """Say nothing of a browser that hung up; defects are told as Python tells them."""
        import sys

        if not isinstance(sys.exception(), ConnectionError | TimeoutError):
            super().handle_error(request, client)


class _Handler(BaseHTTPRequestHandler):
    server: Server
    protocol_version = "HTTP/1.1"
    timeout = _PATIENCE_SECONDS

    def parse_request(self) -> bool:
        """Read the request's head, and answer whatever its method is."""
        if not super().parse_request():
            return False
        setattr(self, f"do_{self.command}", self._answer)
        return True

    def _answer(self) -> None:
        headers: dict[str, list[str]] = {}
        for name, value in self.headers.items():
            headers.setdefault(name.lower(), []).append(value.strip())
        refused = refusal(self.server.doors, self.command, self.path, headers)
        if refused is not None:
            self.close_connection = True
            self._send(Response(refused.status, "text/plain; charset=utf-8", refused.why.encode()))
            return
        path = self.path[len(self.server.doors.secret) + 1 :]
        if self.command == "GET":
            self._send(self.server.answers.get(path))
            return
        length = min(int(headers["content-length"][0]), MOST_BYTES)
        self._send(self.server.answers.post(path, self.rfile.read(length)))

    def _send(self, answer: Response) -> None:
        self.send_response(answer.status)
        for name, value in _HEADERS.items():
            self.send_header(name, value)
        self.send_header("Content-Type", answer.kind)
        self.send_header("Content-Length", str(len(answer.content)))
        if self.close_connection:
            self.send_header("Connection", "close")
        self.end_headers()
        if self.command != "HEAD":
            self.wfile.write(answer.content)

    def version_string(self) -> str:
        """Return what the answer says of the server: nothing that helps others."""
        return "arranger"

    def log_message(self, format: str, *args: Any) -> None:
        """Say nothing: the address holds the secret."""
