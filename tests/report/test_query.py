"""Asking a ledger, from Python and on the command line."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

import pytest
from typer.testing import CliRunner

from arranger.bars import parse_bars
from arranger.cli.app import app
from arranger.errors import ArrangerError, LedgerError, SettingsError, UsageError
from arranger.report import ledger_json, summary
from arranger.report.ledger.query import Query, answer, read_ledger, select

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.conversion import Conversion


@pytest.fixture
def ledger_file(hand: Conversion, tmp_path: Path) -> Path:
    """Write the ledger that is worked out on paper."""
    path = tmp_path / "hostile.ledger.json"
    path.write_bytes(ledger_json(hand))
    return path


def ids(path: Path, query: Query) -> list[int]:
    return [note["id"] for note in select(read_ledger(path), query)]


@pytest.mark.parametrize(
    ("query", "wanted"),
    [
        (Query(), [0, 1, 2, 3, 4, 5, 6, 7, 8]),
        (Query(bars=(2, 2)), [7, 8]),
        (Query(outcomes=("dropped",)), [2, 4]),
        (Query(outcomes=("dropped", "merged")), [2, 4, 6]),
        (Query(reasons=("octave-folded",)), [7]),
        (Query(parts=("strings",)), [1, 7]),
        (Query(parts=("2", "pad")), [1, 2, 7]),
        (Query(bars=(1, 1), outcomes=("changed",)), [1]),
    ],
)
def test_selects(ledger_file: Path, query: Query, wanted: list[int]) -> None:
    assert ids(ledger_file, query) == wanted


def test_bars_as_people_write_them() -> None:
    assert parse_bars("9-16") == (9, 16)
    assert parse_bars("9") == (9, 9)
    for text in ("16-9", "x", "1-2-3", "", "5-", "-5"):
        with pytest.raises(UsageError, match=r"no range of bars|run backwards"):
            parse_bars(text)


def test_bars_that_the_song_does_not_have_are_told(ledger_file: Path) -> None:
    with pytest.raises(SettingsError, match="no notes in bars 3 to 9; it has bars 1 to 2"):
        ids(ledger_file, Query(bars=(3, 9)))


def test_a_ledger_without_notes_has_bar_0() -> None:
    with pytest.raises(SettingsError, match="no notes in bars 1 to 9; it has bars 0 to 0"):
        select({"notes": [], "source": {"tracks": []}}, Query(bars=(1, 9)))


def test_unknown_words_are_refused_with_a_remedy(ledger_file: Path) -> None:
    with pytest.raises(SettingsError, match="'gone' is no outcome; choose from kept, changed"):
        Query(outcomes=("gone",))
    with pytest.raises(SettingsError, match="'bad luck' is no reason"):
        Query(reasons=("bad luck",))
    with pytest.raises(SettingsError, match=r"no part 'flute'; the parts are 1 =</script>"):
        ids(ledger_file, Query(parts=("flute",)))


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"\xff\xfe", "is no JSON"),
        (b"[" * 100_000, "is no JSON"),
        (b"[]", "is no ledger"),
        (b'{"format": "arranger-ledger", "version": 9}', "version 9"),
        (b'{"format": "arranger-ledger", "version": 1}', "source: is not as the format says"),
        (
            b'{"format": "arranger-ledger", "version": 1, "source": {"file": "a", "tracks": []}, '
            b'"notes": [{"id": "x"}]}',
            r"notes\[0\].id: is not as the format says: input should be a valid integer",
        ),
    ],
)
def test_other_files_are_refused(tmp_path: Path, content: bytes, message: str) -> None:
    path = tmp_path / "x.json"
    path.write_bytes(content)
    with pytest.raises(LedgerError, match=message):
        read_ledger(path)


def test_missing_file(tmp_path: Path) -> None:
    with pytest.raises(ArrangerError, match=r"none\.json: can't be read"):
        read_ledger(tmp_path / "none.json")


def test_overview_without_a_choice(ledger_file: Path) -> None:
    lines = list(answer(read_ledger(ledger_file), Query()))
    assert lines[1] == "9 of 9 notes: 3 kept, 3 changed, 1 merged, 2 dropped"
    assert "  part 3 'pad': 0 of 1 notes heard" in lines
    assert lines[-1] == "  bar 2: the bass's G0 on beat 1 sounds in another octave"
    assert all(line.isprintable() for line in lines)


def test_a_ledger_read_back_says_what_was_said_of_textures(
    parade: Conversion, waltz: Conversion, tmp_path: Path
) -> None:
    for conversion in (parade, waltz):
        path = tmp_path / "written.ledger.json"
        path.write_bytes(ledger_json(conversion))
        lines = [line.strip() for line in answer(read_ledger(path), Query(), width=200)]
        told = [str(line) for line in summary(conversion).texture_lines]
        assert told
        assert [line for line in lines if line in told] == told


def test_a_ledger_of_before_textures_is_read(ledger_file: Path) -> None:
    ledger = json.loads(ledger_file.read_bytes())
    del ledger["passages"]
    ledger_file.write_text(json.dumps(ledger), encoding="utf-8")
    assert not [line for line in answer(read_ledger(ledger_file), Query()) if "broken" in line]


def test_command_line(ledger_file: Path) -> None:
    result = CliRunner().invoke(
        app, ["report", str(ledger_file), "--bars", "1-1", "--outcome", "dropped"]
    )
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert lines[0].startswith("bar 1 beat 1, B3 of 'pad': dropped, both voices were busy with")
    assert lines[-1] == "2 of 9 notes: 2 dropped"


def test_command_line_json(ledger_file: Path) -> None:
    result = CliRunner().invoke(app, ["report", str(ledger_file), "--part", "2", "--json"])
    assert result.output.startswith('{\n "notes": [\n  {\n   "id": 1,')
    found = json.loads(result.output)
    assert [note["id"] for note in found["notes"]] == [1, 7]
    assert found["totals"] == {"notes": 2, "kept": 0, "changed": 2, "merged": 0, "dropped": 0}


# Every member that is read, changed to every other kind of value, ends in a clear refusal.
WRONG = [None, True, "x", 1.5, -1, [], {}, [None], {"a": 1}]


@pytest.mark.parametrize("wrong", WRONG, ids=repr)
@pytest.mark.parametrize(
    "where",
    [
        *[("notes", 0, member) for member in
          ("id", "part", "bar", "beat", "outcome", "reasons", "explanation")],
        ("notes", 0), ("notes",), ("source",), ("source", "file"), ("source", "title"),
        ("source", "tracks"), ("source", "tracks", 0), ("source", "tracks", 0, "parts"),
        ("source", "tracks", 1, "parts", 0), ("source", "tracks", 1, "parts", 0, "part"),
        ("source", "tracks", 1, "parts", 0, "name"),
        ("passages",), ("passages", 0), ("passages", 0, "explanation"),
    ],
)  # fmt: skip
def test_wrong_types_are_refused_or_read(
    ledger_file: Path, where: tuple[str | int, ...], wrong: object
) -> None:
    ledger = json.loads(ledger_file.read_bytes())
    place = ledger
    for key in where[:-1]:
        place = place[key]
    good = place[where[-1]]
    place[where[-1]] = wrong
    ledger_file.write_text(json.dumps(ledger), encoding="utf-8")
    fits = type(wrong) is type(good) or (where[-1] == "beat" and type(wrong) in {int, float})
    if fits and wrong not in ([None], {"a": 1}, {}):
        found = read_ledger(ledger_file)
        assert list(answer(found, Query()))
        assert list(answer(found, Query(outcomes=("dropped",))))
    else:
        with pytest.raises(LedgerError, match="is not as the format says"):
            read_ledger(ledger_file)


def test_the_overview_counts_what_is_heard_of_each_part(ledger_file: Path) -> None:
    lines = list(answer(read_ledger(ledger_file), Query()))
    heard = re.findall(r"(\d of \d) notes heard", " ".join(" ".join(lines).split()))
    assert heard == ["4 of 4", "2 of 2", "0 of 1", "1 of 2"]
