"""A whole songbook with real worker processes: failures, kills, repeats, duplicates."""

from __future__ import annotations

import csv
import json
import os
import signal
import subprocess
import time
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from arranger.errors import OutputError
from arranger.options import build_settings
from arranger.sheet.history.back import undo
from arranger.sheet.history.file import history_path
from arranger.sheet.keep import Keeping
from arranger.songbook import BookResult, SongRecord, convert_book
from arranger.songbook.known.index import opened
from arranger.songbook.summing_up import result_text
from tests.processes import interruptible, running
from tests.songbook.runs import choice, command, edit, environment, plain, tree
from tests.songbook.songs import write_book, write_song

if TYPE_CHECKING:
    from pathlib import Path


def by_song(result: BookResult) -> dict[str, SongRecord]:
    return {record.relative: record for record in result.records}


def test_one_or_two_workers_write_the_same_bytes_and_nothing_twice(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 7)
    (tmp_path / "songs" / "broken.mid").write_bytes(b"<html>not found</html>")
    first = convert_book(choice(tmp_path, out=tmp_path / "one", workers=1))
    second = convert_book(choice(tmp_path, out=tmp_path / "two", workers=2))
    assert first.records == second.records
    assert tree(tmp_path / "one") == tree(tmp_path / "two")
    assert [record.relative for record in first.failed] == ["broken.mid"]
    assert first.failed[0].reason == "unreadable"
    again = convert_book(choice(tmp_path, out=tmp_path / "two"))
    assert (again.converted, again.unchanged, len(again.failed)) == (0, 7, 1)
    assert plain(again.records) == plain(second.records)


def test_only_what_changed_is_done_again(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 4)
    convert_book(choice(tmp_path))
    write_song(tmp_path / "songs" / "shelf0" / "song000.mid", seed=99)
    (tmp_path / "out" / "shelf1" / "song001.ledger.csv").unlink()
    (tmp_path / "songs" / "shelf2" / "song002.mid").unlink()
    result = convert_book(choice(tmp_path))
    assert (result.converted, result.unchanged) == (2, 1)
    assert (tmp_path / "out" / "shelf1" / "song001.ledger.csv").exists()
    assert "shelf2/song002.mid" not in by_song(result)
    assert convert_book(choice(tmp_path, settings=build_settings({"step": "1/4"}))).converted == 3


def test_settings_of_the_book_reach_its_songs(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 2)
    (tmp_path / "songs" / "songbook.toml").write_text(
        '[songs."shelf0/*"]\nstep = "1/4"\nengine = "twin-counter"\n'
        '[songs."shelf1/song001.mid"]\ntune = "nobody"\n'
    )
    found = by_song(convert_book(choice(tmp_path)))
    assert found["shelf0/song000.mid"].step == "1/4"
    assert found["shelf0/song000.mid"].engine == "twin-counter"
    assert found["shelf1/song001.mid"].reason == "settings"


def test_an_edited_sheet_is_left_alone_and_said(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 2)
    convert_book(choice(tmp_path))
    sheet = tmp_path / "out" / "shelf0" / "song000.duet"
    edited = edit(sheet)
    result = convert_book(choice(tmp_path, settings=build_settings({"transpose": "1"})))
    assert by_song(result)["shelf0/song000.mid"].state == "kept-edit"
    assert by_song(result)["shelf1/song001.mid"].state == "done"
    assert sheet.read_text() == edited
    assert not result.failed


def test_a_kept_edit_is_told_as_its_files_are(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 1)
    before = by_song(convert_book(choice(tmp_path)))["shelf0/song000.mid"]
    sheet = tmp_path / "out" / "shelf0" / "song000.duet"
    text = edit(sheet)
    asked = build_settings({"engine": "twin-counter", "step": "1/6", "mute": ["1"], "tempo": 77})
    result = convert_book(choice(tmp_path, settings=asked))
    kept = by_song(result)["shelf0/song000.mid"]
    names = ("state", "edited", "edited_at", "song_bytes", "change", "why", "kept", "dropped")
    assert replace(kept, **{name: getattr(before, name) for name in names}) == before
    # The sheet is told as it stands: one of the notes isn't heard any more.
    assert (kept.kept, kept.dropped) == (before.kept - 1, before.dropped + 1)
    assert kept.change == f"edited, bytes {kept.song_bytes - before.song_bytes:+}"
    assert kept.edited_at.startswith("20")
    assert (kept.state, kept.edited) == ("kept-edit", True)
    # So are its ledger and its page; the sheet stays.
    ledger = sheet.with_suffix(".ledger.json")
    assert json.loads(ledger.read_text())["totals"]["dropped"] == kept.dropped
    assert sheet.read_text() == text
    # The song that was edited is no more: its ledger is asked.
    write_song(tmp_path / "songs" / "shelf0" / "song000.mid", seed=99)
    told = by_song(convert_book(choice(tmp_path)))["shelf0/song000.mid"]
    names = ("heard", "lost", "strips", "kept", "dropped", "song_bytes", "seconds")
    assert [getattr(told, name) for name in names] == [getattr(kept, name) for name in names]
    # Without a ledger only the sheet can tell, and that is said.
    (tmp_path / "out" / "shelf0" / "song000.ledger.json").write_text('{"format": 1}')
    kept = by_song(convert_book(choice(tmp_path)))["shelf0/song000.mid"]
    assert (kept.engine, kept.step, kept.notes) == ("twin-phase", before.step, 0)
    assert "ledger is no ledger" in kept.message


def test_force_and_keep_edits_reach_an_edit_that_was_seen_before(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 2)
    convert_book(choice(tmp_path))
    sheet = tmp_path / "out" / "shelf0" / "song000.duet"
    generated = sheet.read_text()
    edited = edit(sheet)
    for force, keep, state, converted in (
        (False, False, "kept-edit", 0),
        (False, False, "kept-edit", 0),
        (False, True, "done", 1),
        (False, True, "done", 0),
        (False, False, "done", 0),
    ):
        result = convert_book(choice(tmp_path, force=force, keeping=Keeping(edits=keep)))
        assert by_song(result)["shelf0/song000.mid"].state == state
        assert result.converted == converted
        assert sheet.read_text() == edited
    assert convert_book(choice(tmp_path, force=True)).converted == 1
    assert sheet.read_text() == generated
    assert convert_book(choice(tmp_path, force=True)).converted == 0


def test_a_song_whose_conversion_was_taken_back_counts_as_edited(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 2)
    convert_book(choice(tmp_path))
    assert list((tmp_path / "out").rglob("*.history")) == []
    first = tree(tmp_path / "out")["shelf0/song000.duet"]
    convert_book(choice(tmp_path, settings=build_settings({"step": "1/4"})))
    undo(tmp_path / "out" / "shelf0" / "song000.duet")
    for _ in range(2):
        result = convert_book(choice(tmp_path, settings=build_settings({"step": "1/3"})))
        found = by_song(result)["shelf0/song000.mid"]
        assert (found.state, found.edited, found.message) == ("kept-edit", True, "")
        assert tree(tmp_path / "out")["shelf0/song000.duet"] == first
    history_path(tmp_path / "out" / "shelf1" / "song001.duet").write_bytes(b"damaged")
    result = convert_book(choice(tmp_path, force=True))
    assert result.converted == 2
    assert "song001.duet.history: is damaged" in by_song(result)["shelf1/song001.mid"].message


def test_edits_of_a_song_that_changed_wait_for_a_word(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 2)
    convert_book(choice(tmp_path))
    sheet = tmp_path / "out" / "shelf0" / "song000.duet"
    edited = edit(sheet)
    songs = [tmp_path / "songs" / "shelf0" / f"song00{n}.mid" for n in (0, 1)]
    if not songs[1].exists():
        songs[1] = next(path for path in (tmp_path / "songs").rglob("*001.mid"))
    songs[0].write_bytes(songs[1].read_bytes())
    for _ in range(2):
        result = by_song(convert_book(choice(tmp_path, keeping=Keeping(edits=True))))
        record = result["shelf0/song000.mid"]
        assert (record.state, record.reason) == ("failed", "unwritable")
        assert "was made when" in record.message
        assert sheet.read_text() == edited
    text = '[songs."shelf0/*"]\nkeep-edits = true\nsong-changed = true\n'
    (tmp_path / "songs" / "songbook.toml").write_text(text)
    record = by_song(convert_book(choice(tmp_path)))["shelf0/song000.mid"]
    assert (record.state, record.edited) == ("done", True)
    assert "F5" in sheet.read_text()


def test_tables_for_no_song_are_remarked(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 1)
    (tmp_path / "songs" / "songbook.toml").write_text('[songs."shelf9/*"]\nstep = "1/4"\n')
    result = convert_book(choice(tmp_path))
    assert "songbook.toml: line 1: no song is called 'shelf9/*'" in result_text(result).splitlines()
    assert not result.failed


def test_the_same_notes_in_another_file_are_named(tmp_path: Path) -> None:
    write_song(tmp_path / "songs" / "a.mid", 1)
    write_song(tmp_path / "songs" / "b.mid", 2)
    twin = (tmp_path / "songs" / "a.mid").read_bytes().replace(b"part 0", b"part X")
    (tmp_path / "songs" / "c.mid").write_bytes(twin)
    convert_book(choice(tmp_path))
    songs = json.loads((tmp_path / "out" / "songbook.json").read_text())["songs"]
    assert [song["same_notes_as"] for song in songs] == [None, None, "a.mid"]
    table = (tmp_path / "out" / "songbook.csv").read_text(encoding="utf-8")
    rows = list(csv.DictReader(table.splitlines()))
    assert rows[2]["same_notes_as"] == "a.mid"


def test_a_song_that_takes_too_long_or_too_much_costs_only_itself(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 2)
    write_song(tmp_path / "songs" / "vast.mid", 3, notes=20_000, parts=6)
    slow = by_song(convert_book(choice(tmp_path, seconds=1.0)))
    assert slow["vast.mid"].reason == "time"
    assert slow["shelf0/song000.mid"].state == "done"
    fat = by_song(convert_book(choice(tmp_path, megabytes=40)))
    assert fat["vast.mid"].reason == "memory"
    assert fat["shelf1/song001.mid"].state == "done"


def test_a_pipe_and_a_dead_link_do_not_hang(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 1)
    os.mkfifo(tmp_path / "songs" / "pipe.mid")
    (tmp_path / "songs" / "dead.mid").symlink_to(tmp_path / "nowhere.mid")
    found = by_song(convert_book(choice(tmp_path)))
    assert found["pipe.mid"].reason == found["dead.mid"].reason == "unreadable"
    assert found["shelf0/song000.mid"].state == "done"


def test_a_second_run_at_once_says_so_and_stops(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 1)
    with opened(tmp_path / "out"):
        done = subprocess.run(
            command(tmp_path / "songs", tmp_path / "out"),
            env=environment(), capture_output=True, text=True, check=False,
        )  # fmt: skip
        with pytest.raises(OutputError, match="another run"):
            convert_book(choice(tmp_path))
    assert done.returncode == 1
    assert "another run is writing this songbook" in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_outputs_that_cannot_be_written_fail_that_song_only(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 3)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "shelf1").write_text("a file where a folder must be")
    found = by_song(convert_book(choice(tmp_path)))
    assert found["shelf1/song001.mid"].reason == "unwritable"
    assert found["shelf0/song000.mid"].state == "done"


def test_a_full_disk_is_one_clear_line(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 1)
    # No file may grow past 8 KiB: writes fail as they do when the disk is full.
    run = " ".join(command(tmp_path / "songs", tmp_path / "out"))
    done = subprocess.run(
        ["bash", "-c", f"ulimit -f 8; {run}"],
        env=environment(), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert "Traceback" not in done.stdout + done.stderr
    assert not [path for path in tmp_path.rglob("*") if path.name.startswith(".writing-")]


def test_exit_code_and_summary_tell_of_failures(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 1)
    (tmp_path / "songs" / "bad\nname.mid").write_bytes(b"")
    done = subprocess.run(
        command(tmp_path / "songs", tmp_path / "out", "--json"),
        env=environment(), capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    told = json.loads(done.stdout)
    assert told["songs"] == 2
    assert [entry["song"] for entry in told["failed"]] == ["bad\nname.mid"]


def test_the_summary_names_what_failed_on_one_line_each(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 1)
    (tmp_path / "songs" / "bad\nname.mid").write_bytes(b"")
    told = result_text(convert_book(choice(tmp_path))).splitlines()
    assert told[0] == "2 songs: 1 converted, 0 unchanged, 1 failed"
    assert "      1 unreadable: the file can't be read as a song" in told
    assert any(line.startswith("  bad\\nname.mid: ") for line in told)


def test_ctrl_c_stops_cleanly(tmp_path: Path) -> None:
    write_book(tmp_path / "songs", 30, notes=150)
    out = tmp_path / "out"
    with running(
        interruptible("songbook", tmp_path / "songs", "-o", out, "--workers", "2"),
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, start_new_session=True,
    ) as process:  # fmt: skip
        while len(list(out.rglob("*.report.html"))) < 8:  # by then both workers are at work
            assert process.poll() is None
            time.sleep(0.01)
        os.killpg(process.pid, signal.SIGINT)
        said = process.communicate(timeout=60)[1]
    assert process.returncode == 130
    assert "Traceback" not in said
    assert said.splitlines()[-1] == "arranger: stopped; the next run goes on from here"
