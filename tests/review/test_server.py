"""The server of a review: whom it answers, and with what."""

from __future__ import annotations

import json
import socket
import threading
from typing import TYPE_CHECKING

import pytest

from arranger.report.pages.page_data import page_data
from arranger.review.guard import MOST_BYTES, Doors, refusal
from tests.review.served import DEMO_SONGS, Served, converted, served, written

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


@pytest.fixture(scope="module")
def gulls(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    path = tmp_path_factory.mktemp("review") / "two_gulls.duet"
    with served(written(converted("two_gulls"), path)) as found:
        yield found


def test_the_page_is_answered_to_who_knows_the_secret(gulls: Served) -> None:
    page = gulls.get("")
    assert page.status == 200
    text = page.content.decode()
    assert "connect-src 'self'" in text
    assert 'id="live"' in text
    assert page.headers["Cache-Control"] == "no-store"
    assert page.headers["Referrer-Policy"] == "no-referrer"
    assert "frame-ancestors 'none'" in page.headers["Content-Security-Policy"]
    assert "Access-Control-Allow-Origin" not in page.headers
    parts = gulls.get("parts")
    assert parts.status == 200
    assert len(parts.content) < len(page.content)


@pytest.mark.parametrize(
    ("method", "path", "headers", "status"),
    [
        ("GET", "{start}/0/", {"Host": "harbour.example"}, 403),
        ("GET", "{start}/0/", {"Host": "localhost:{port}"}, 403),
        ("GET", "{start}/0/", {"Host": "127.0.0.1"}, 403),
        ("GET", "{start}/0/", {"Origin": "http://harbour.example"}, 403),
        ("GET", "{start}/0/", {"Origin": "null"}, 403),
        ("GET", "{start}/0/", {"Sec-Fetch-Site": "cross-site"}, 403),
        ("GET", "/0/", {}, 404),
        ("GET", "/", {}, 404),
        ("GET", "{start}x/0/", {}, 404),
        ("GET", "{short}/0/", {}, 404),
        ("GET", "/x{start}/0/", {}, 404),
        ("GET", "{start}/", {}, 404),
        ("GET", "{start}/1/", {}, 404),
        ("GET", "{start}/0", {}, 404),
        ("GET", "{start}/0/two_gulls.duet", {}, 404),
        ("GET", "{start}/../../../../etc/passwd", {}, 404),
        ("GET", "{start}/0/../two_gulls.duet", {}, 404),
        ("GET", "{start}/0/%2e%2e/two_gulls.duet", {}, 404),
        ("GET", "{start}/0/edit", {}, 404),
        ("GET", "{start}/0/?" + "x" * 3000, {}, 404),
        ("HEAD", "{start}/0/", {}, 405),
        ("PUT", "{start}/0/edit", {"Origin": "{origin}"}, 405),
        ("DELETE", "{start}/0/", {"Origin": "{origin}"}, 405),
        ("OPTIONS", "{start}/0/edit", {"Origin": "{origin}"}, 405),
        ("TRACE", "{start}/0/", {}, 405),
        ("GET", "{start}/0/", {"Content-Length": "4"}, 400),
        ("POST", "{start}/0/edit", {"Content-Type": "application/json", "Content-Length": "2"}, 403),
        ("POST", "{start}/0/edit", {"Origin": "{origin}", "Content-Type": "text/plain", "Content-Length": "2"}, 415),
        ("POST", "{start}/0/edit", {"Origin": "{origin}", "Content-Type": "application/json", "Content-Length": str(MOST_BYTES + 1)}, 413),
        ("POST", "{start}/0/edit", {"Origin": "{origin}", "Content-Type": "application/json", "Content-Length": "9" * 5000}, 413),
        ("POST", "{start}/0/edit", {"Origin": "{origin}", "Content-Type": "application/json", "Content-Length": "-1"}, 411),
        ("POST", "{start}/0/edit", {"Origin": "{origin}", "Content-Type": "application/json"}, 411),
        ("POST", "{start}/0/edit", {"Origin": "{origin}", "Content-Type": "application/json", "Transfer-Encoding": "chunked"}, 411),
    ],
)  # fmt: skip
def test_others_are_refused(
    gulls: Served, method: str, path: str, headers: dict[str, str], status: int
) -> None:
    words = {
        "start": gulls.start,
        "short": gulls.start[:-1],
        "port": str(gulls.server.doors.port),
        "origin": gulls.server.doors.origin,
    }
    before = gulls.path.read_bytes()
    sent = {name: value.format(**words) for name, value in headers.items()}
    reply = gulls.ask(method, path.format(**words), None, sent)
    assert reply.status == status
    assert len(reply.content) < 60
    assert b"two_gulls" not in reply.content
    assert gulls.path.read_bytes() == before


def test_two_hosts_or_origins_are_one_too_many() -> None:
    doors = Doors(8000, "secret")
    path, host = "/secret/0/", "127.0.0.1:8000"
    assert refusal(doors, "GET", path, {"host": [host]}) is None
    assert refusal(doors, "GET", path, {"host": [host, host]}) is not None
    assert refusal(doors, "GET", path, {}) is not None
    theirs = {"host": [host], "origin": [doors.origin, "http://harbour.example"]}
    assert refusal(doors, "GET", path, theirs) is not None


def test_it_listens_on_the_loopback_only(gulls: Served) -> None:
    assert gulls.server.server_address[0] == "127.0.0.1"
    assert len(gulls.server.doors.secret) >= 32
    with socket.create_connection(("127.0.0.1", gulls.server.doors.port), timeout=10) as line:
        line.sendall(b"\x16\x03\x01 nonsense\r\n\r\n")
        assert b"two_gulls" not in line.recv(4000)


@pytest.mark.parametrize(
    "content", [b"", b"[]", b"{", b"[" * 90_000, b'{"seen": 1}', b'{"seen": -1, "do": "cells"}',
                b'{"seen": 1, "do": "cells", "row": 0, "step": 99999, "words": "C4"}',
                b'{"seen": 1, "do": "cells", "row": true, "step": 0, "words": "C4"}',
                b'{"seen": 1, "do": "cells", "row": 0, "step": 0, "words": "H9"}',
                b'{"seen": 1, "do": "cells", "row": 0, "step": 0, "words": ""}',
                b'{"seen": 1, "do": "take", "note": 99999, "row": 0}',
                b'{"seen": 1, "do": "texture", "bar": 0, "texture": "bells"}',
                b'{"seen": 1e400}', b'{"seen": 1, "do": "../../x"}', b"\xff\xfe"],
)  # fmt: skip
def test_what_is_no_edit_is_refused_in_words(gulls: Served, content: bytes) -> None:
    gulls.state()
    before = gulls.path.read_bytes()
    headers = {"Origin": gulls.server.doors.origin, "Content-Type": "application/json"}
    reply = gulls.ask("POST", f"{gulls.start}/0/edit", content, headers)
    assert reply.status == 200
    assert reply.json["refused"]
    assert gulls.path.read_bytes() == before


def test_the_state_has_the_page_s_data(gulls: Served) -> None:
    state = gulls.state()
    plain = json.loads("".join(page_data(converted("two_gulls"))))
    assert state["data"] == plain
    assert state["problems"] == []


def test_a_save_wakes_who_waits(tmp_path: Path) -> None:
    path = written(converted("two_gulls"), tmp_path / "two_gulls.duet")
    with served(path) as found:
        number = found.state()["number"]
        answers: list[dict[str, object]] = []
        waiting = threading.Thread(target=lambda: answers.append(found.state(number, number)))
        waiting.start()
        text = path.read_text()
        path.write_text(text.replace(" A4 ", " B4 ", 1))
        waiting.join(60)
        assert answers
        data = answers[0]["data"]
        assert isinstance(data, dict)
        assert any("B4" in line for line in data["sheet"]["lines"])
        assert any(len(bar) > 2 for bar in data["sheet"]["bars"])  # edited rows are marked
        path.write_text(text.replace("voice 1", "voice 9", 1))
        wrong = found.state(int(str(answers[0]["number"])), int(str(answers[0]["shown"])))
        assert "data" not in wrong
        assert any(each["severity"] == "error" for each in wrong["problems"])
        assert "refused" in found.post(
            "edit", seen=wrong["number"], do="cells", row=0, step=0, words="C4"
        )
        assert "voice 9" in path.read_text()


def test_a_folder_offers_its_sheets(tmp_path: Path) -> None:
    for name in ("two_gulls", "lantern_hymn"):
        written(converted(name), tmp_path / "harbour" / f"{name}.duet")
    with served(tmp_path) as found:
        page = found.ask("GET", f"{found.start}/").content.decode()
        assert page.index("harbour/lantern_hymn.duet") < page.index("harbour/two_gulls.duet")
        assert 'href="./1/"' in page
        song = found.ask("GET", f"{found.start}/1/").content
        assert b"two_gulls" in song
        assert b'"folder": true' in song


def test_a_sheet_that_can_t_be_shown_says_why(tmp_path: Path) -> None:
    path = written(converted("two_gulls"), tmp_path / "two_gulls.duet")
    with served(path, tmp_path / "elsewhere.mid") as found:
        page = found.get("").content.decode()
        assert "elsewhere.mid" in page
        assert 'http-equiv="refresh"' in page
    with served(path, DEMO_SONGS / "lantern_hymn.mid") as found:
        assert "is not the file that the sheet was made from" in found.get("").content.decode()


def test_a_sheet_from_nothing_and_one_that_is_gone_for_a_while(tmp_path: Path) -> None:
    path = tmp_path / "pier.duet"
    path.write_text(
        "arranger-sheet 1\ntitle Pier\nengine twin-phase\nstep 1/4\ntempo 120\n\nbar 1 4/4\n"
    )
    with served(path, None) as found:
        assert "nothing sounds in it yet" in found.get("").content.decode()
        number = found.state()["number"]
        path.write_text(f"{path.read_text()}  voice 1 C4{'-' * 15}\n")
        state = found.state(number)
        assert state["trouble"] == ""
        assert state["data"]["sheet"]["voices"][0][0] == 60
        told = found.post("edit", seen=state["number"], do="cells", row=0, step=4, words="E4 . C4")
        assert told["told"] == "bar 1, voice 1 typed"
        assert "voice 1 C4---E4.C4---------" in path.read_text()
        number = found.state(state["number"])["number"]
        aside = path.rename(tmp_path / "aside")
        gone = found.post("edit", seen=number, do="cells", row=0, step=0, words="D4")
        assert "can't be read" in gone["refused"]
        aside.rename(path)
        while found.state()["trouble"]:
            pass
