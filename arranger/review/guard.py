"""Who may ask: this machine's browser, on the address that was printed, and nobody else.

The server listens on the loopback only, but any page in any browser here may try to reach it, and so
may a name that another machine's server lets point here. So a request must

1. name the very host and port that we printed (a foreign name that leads here is refused);
2. begin with the secret, which no other page can know or read;
3. come from the page itself: an Origin, or what the browser says of the request's site, must be ours,
   and whatever changes something must have an Origin and be JSON, which other sites can't send unasked;
4. be small, and say how long it is.

(Host and Origin: RFC 9110, section 7.2; Fetch Standard, "Origin header". Sec-Fetch-Site: W3C, Fetch
Metadata Request Headers.)
"""

from __future__ import annotations

import hmac
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from collections.abc import Mapping

MOST_BYTES = 100_000
"""Of what a page sends; the largest edit is a row of a bar."""

_LONGEST_PATH = 2_000
_OURS = ("same-origin", "none")


class Refusal(NamedTuple):
    """Why a request isn't answered: the HTTP status, and a line."""

    status: int
    why: str


class Doors(NamedTuple):
    """What a request has to know."""

    port: int
    secret: str

    @property
    def host(self) -> str:
        """What it must call the host."""
        return f"127.0.0.1:{self.port}"

    @property
    def origin(self) -> str:
        """Where its page must come from."""
        return f"http://{self.host}"


def refusal(
    doors: Doors, method: str, path: str, headers: Mapping[str, list[str]]
) -> Refusal | None:
    """Return why a request is refused, or None.

    ``doors``: what it has to know.
    ``method``, ``path``: as the request's first line says.
    ``headers``: by name in small letters, all values of each.
    """
    if method not in ("GET", "POST"):
        return Refusal(405, "only GET and POST")
    if headers.get("host") != [doors.host]:
        return Refusal(403, "another host")
    origins = headers.get("origin", [])
    if any(origin != doors.origin for origin in origins):
        return Refusal(403, "another origin")
    if any(site not in _OURS for site in headers.get("sec-fetch-site", [])):
        return Refusal(403, "another site")
    if len(path) > _LONGEST_PATH or not _knows(path, doors.secret):
        return Refusal(404, "nothing here")
    return _refused_body(method, origins, headers)


def _knows(path: str, secret: str) -> bool:
    """Return whether a path begins with the secret; how much of it is right can't be measured."""
    first = path.removeprefix("/").split("/", 1)[0].split("?", 1)[0]
    return path.startswith("/") and hmac.compare_digest(first.encode(), secret.encode())


def _refused_body(
    method: str, origins: list[str], headers: Mapping[str, list[str]]
) -> Refusal | None:
    lengths = headers.get("content-length", [])
    if "transfer-encoding" in headers:
        return Refusal(411, "say how long it is")
    if method == "GET":
        return Refusal(400, "nothing may be sent") if any(each != "0" for each in lengths) else None
    if not origins:
        return Refusal(403, "no origin")
    if headers.get("content-type") != ["application/json"]:
        return Refusal(415, "only JSON")
    if len(lengths) != 1 or not (lengths[0].isascii() and lengths[0].isdecimal()):
        return Refusal(411, "say how long it is")
    if len(lengths[0]) > 9 or int(lengths[0]) > MOST_BYTES:
        return Refusal(413, f"more than {MOST_BYTES} bytes")
    return None
