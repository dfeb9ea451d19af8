"""A review of a sheet, served for real on this machine, and what asks it over HTTP."""

from __future__ import annotations

import json
from contextlib import contextmanager
from http.client import HTTPConnection
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.conversion import Conversion, convert
from arranger.engine import load_engine
from arranger.review.answers import Answers
from arranger.review.live import Live
from arranger.review.server import Server
from arranger.settings import Settings
from arranger.sheet import write_sheet
from arranger.song import read_song

if TYPE_CHECKING:
    from collections.abc import Iterator

DEMO_SONGS = Path(__file__).parents[2] / "demo_songs"
PATIENCE_SECONDS = 60


class Reply(NamedTuple):
    status: int
    headers: dict[str, str]
    content: bytes

    @property
    def json(self) -> Any:
        return json.loads(self.content)


class Served:
    """A running review."""

    def __init__(self, server: Server, path: Path) -> None:
        self.server = server
        self.path = path
        self.start = f"/{server.doors.secret}"

    def ask(
        self,
        method: str,
        path: str,
        content: bytes | None = None,
        headers: dict[str, str] | None = None,
    ) -> Reply:
        """Send a request just so; only what a header names is sent beside the host."""
        line = HTTPConnection("127.0.0.1", self.server.doors.port, timeout=PATIENCE_SECONDS)
        try:
            line.putrequest(
                method, path, skip_host="Host" in (headers or {}), skip_accept_encoding=True
            )
            for name, value in (headers or {}).items():
                line.putheader(name, value)
            if content is not None and "Content-Length" not in (headers or {}):
                line.putheader("Content-Length", str(len(content)))
            line.endheaders(content)
            answer = line.getresponse()
            return Reply(answer.status, dict(answer.getheaders()), answer.read())
        finally:
            line.close()

    def get(self, what: str) -> Reply:
        return self.ask("GET", f"{self.start}/0/{what}")

    def post(self, what: str, **ask: Any) -> Any:
        headers = {"Origin": self.server.doors.origin, "Content-Type": "application/json"}
        reply = self.ask("POST", f"{self.start}/0/{what}", json.dumps(ask).encode(), headers)
        assert reply.status == 200
        return reply.json

    def state(self, after: int = 0, shown: int = 0) -> Any:
        return self.get(f"state?after={after}&shown={shown}").json


@contextmanager
def served(path: Path, song: Path | None = DEMO_SONGS) -> Iterator[Served]:
    """Serve a sheet, or the sheets of a folder, until the end of the block."""
    from arranger.review.answers import sheets_in

    folder = path if path.is_dir() else None
    sheets = [path] if folder is None else sheets_in(path)
    answers = Answers([Live(each, song) for each in sheets], folder=folder)
    with Server(answers) as server:
        thread = Thread(target=server.serve_forever, args=(0.02,))
        thread.start()
        try:
            yield Served(server, path)
        finally:
            answers.close()
            server.shutdown()
            thread.join()


def converted(name: str, **settings: Any) -> Conversion:
    """Convert a demo song."""
    chosen = Settings(**settings)
    return convert(read_song(DEMO_SONGS / f"{name}.mid"), load_engine(chosen.engine), chosen)


def written(conversion: Conversion, path: Path) -> Path:
    """Write the sheet of a conversion."""
    write_sheet(conversion.sheet, path)
    return path
