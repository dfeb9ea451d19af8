"""Writing where a sheet stands already: edits are not lost, files are old or new, never a part."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from arranger.cli.app import app
from arranger.engine import load_engine
from arranger.errors import OutputError, SheetError
from arranger.files import backup_path
from arranger.sheet import (
    Sheet,
    format_sheet,
    is_edited,
    parse,
    read_sheet,
    with_digest,
    write_sheet,
)
from arranger.sheet.form.fold_repeats import fold_repeats
from arranger.sheet.keep import TargetState, look, write_generated
from arranger.sheet.played import step_length
from arranger.sheet.record.digest import is_folded

from . import edits

SONG = Path(__file__).parents[2] / "demo_songs" / "two_gulls.mid"


def sheet(seed: int) -> Sheet:
    return edits.generated(random.Random(seed))


def test_a_generated_sheet_is_recognised_as_such_after_reading() -> None:
    text = format_sheet(sheet(1))
    assert not is_edited(parse(text))
    assert is_edited(parse(text.replace("title     A tune", "title     My tune")))
    assert is_edited(parse(text + "# a comment\n"))
    assert is_edited(replace(parse(text), digest="", generated=None))


def test_tidying_is_no_edit() -> None:
    text = format_sheet(sheet(1))
    assert not is_edited(parse(text.replace("  voice 1   ", "voice 1 ").replace("|", "")))


OF_BEFORE = """\
arranger-sheet 1
title     Low tide
engine    twin-phase
step      1/2 beat
length    7440
tempo     119.6 beats a minute
digest    6395aeea6847425b

bar 1   2/4
  voice 1   C4  -   | .   E4
  voice 2   .   .   | .   .
  drums     .   .   | .   .
"""
"""Written when every sheet had a length, and the tempo told only."""


def test_a_sheet_with_a_length_is_known_as_generated_and_it_rules() -> None:
    old = parse(OF_BEFORE)
    assert not is_edited(old)
    assert not is_edited(parse(OF_BEFORE.replace("119.6", "150")))  # it changes nothing
    assert step_length(old, load_engine("twin-phase")).setting == 7440
    assert is_edited(parse(OF_BEFORE.replace("length    7440\n", "")))
    assert format_sheet(old) == OF_BEFORE


def test_a_generated_sheet_is_replaced_and_kept_once(tmp_path: Path) -> None:
    path = tmp_path / "x.duet"
    write_generated(path, sheet(1))
    assert not backup_path(path).exists()
    write_generated(path, sheet(2))
    assert read_sheet(path) == sheet(2)
    assert read_sheet(backup_path(path)) == sheet(1)
    write_generated(path, sheet(2))  # the same again: what was before stays kept
    assert read_sheet(backup_path(path)) == sheet(1)


@pytest.mark.parametrize(
    ("content", "state", "told"),
    [
        ("edited", TargetState.EDITED, "edited by hand.*--keep-edits.*--force"),
        ("half", TargetState.UNREADABLE, "no sheet.*line 1.*--force"),
        ("binary", TargetState.UNREADABLE, "not UTF-8.*--force"),
    ],
)
def test_nothing_of_the_hands_is_overwritten_unasked(
    tmp_path: Path, content: str, state: TargetState, told: str
) -> None:
    path = tmp_path / "x.duet"
    edited = edits.edit(random.Random(5), sheet(1)).sheet
    by_content = {
        "edited": format_sheet(edited).encode(),
        "half": b"my notes for tomorrow\n",
        "binary": b"\xff\xfe\x00",
    }
    path.write_bytes(by_content[content])
    assert look(path).state is state
    with pytest.raises(OutputError, match=told):
        write_generated(path, sheet(2))
    assert path.read_bytes() == by_content[content]
    write_generated(path, sheet(2), force=True)
    assert read_sheet(path) == sheet(2)
    assert backup_path(path).read_bytes() == by_content[content]


def test_a_folder_in_the_place_is_an_error_of_one_line(tmp_path: Path) -> None:
    with pytest.raises(OutputError):
        write_generated(tmp_path, sheet(1), force=True)


WRITER = """
import random, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
from tests.sheet import edits
from arranger.sheet import write_sheet
old, new = (edits.generated(random.Random(n), bars=1500) for n in (1, 2))
path = Path(sys.argv[2])
write_sheet(old, path)
print("ready", flush=True)
while True:
    write_sheet(new, path)
    write_sheet(old, path)
"""


def test_a_killed_program_leaves_the_old_file_or_the_new(tmp_path: Path) -> None:
    """Kill a real process that overwrites without end, at moments that differ."""
    path = tmp_path / "x.duet"
    whole = {format_sheet(edits.generated(random.Random(n), bars=1500)).encode() for n in (1, 2)}
    root = str(Path(__file__).parents[2])
    seen = set()
    for delay in (0.0, 0.013, 0.031, 0.057):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITER, root, str(path)], stdout=subprocess.PIPE, cwd=root
        )
        with process:
            assert process.stdout is not None
            assert process.stdout.readline() == b"ready\n"
            time.sleep(delay)
            process.send_signal(signal.SIGKILL)
        for file in (path, backup_path(path)):
            if file.exists():
                assert file.read_bytes() in whole
                seen.add(file.name)
    assert "x.duet" in seen


def convert(folder: Path, *more: str, song: Path = SONG) -> str:
    result = CliRunner().invoke(app, ["convert", str(song), "-o", str(folder), "--no-audio", *more])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.output


def test_converting_again_keeps_what_the_hand_did(tmp_path: Path) -> None:
    path = tmp_path / "two_gulls.duet"
    convert(tmp_path)
    assert look(path).state is TargetState.GENERATED
    before = read_sheet(path)
    changed = replace(before, voice1=(60, *before.voice1[1:]))
    assert changed.voice1 != before.voice1
    write_sheet(changed, path)

    with pytest.raises(OutputError, match="edited by hand"):
        convert(tmp_path, "--transpose", "2")
    assert read_sheet(path) == changed

    assert "1 bar is by hand" in convert(tmp_path, "--transpose", "2", "--keep-edits")
    after = read_sheet(path)
    assert after.voice1[0] == 62  # it follows the key
    assert after.voice1[1:] == tuple(cell + 2 if cell >= 0 else cell for cell in before.voice1[1:])
    assert is_edited(after)

    # another engine: the edit goes along
    convert(tmp_path, "--engine", "twin-counter", "--transpose", "2", "--keep-edits")
    moved = read_sheet(path)
    assert (moved.engine, moved.voice1[0]) == ("twin-counter", 62)

    convert(tmp_path, "--keep-edits=as-typed")
    assert read_sheet(path).voice1[0] == 62
    convert(tmp_path, "--transpose", "-1", "--keep-edits")
    assert read_sheet(path).voice1[0] == 61

    convert(tmp_path, "--force")
    assert read_sheet(path) == before


def test_a_sheet_that_was_only_folded_is_unedited_and_stays_folded_where_asked(
    tmp_path: Path,
) -> None:
    song, path = SONG.with_name("gangway_shuffle.mid"), tmp_path / "gangway_shuffle.duet"
    convert(tmp_path, song=song)
    write_sheet(fold_repeats(read_sheet(path)), path)
    assert is_folded(read_sheet(path))
    assert look(path).state is TargetState.GENERATED
    convert(tmp_path, "--transpose", "2", song=song)
    assert not is_folded(read_sheet(path))
    write_sheet(fold_repeats(read_sheet(path)), path)
    convert(tmp_path, "--keep-edits", song=song)
    folded = read_sheet(path)
    assert is_folded(folded)
    write_sheet(fold_repeats(replace(folded, title="My gangway")), path)
    assert look(path).state is TargetState.EDITED


def test_a_record_that_an_editor_dropped_is_found_in_the_history(tmp_path: Path) -> None:
    convert(tmp_path)
    path = tmp_path / "two_gulls.duet"
    before = read_sheet(path)
    write_sheet(replace(before, drums=("hat", *before.drums[1:])), path)
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join(line for line in lines if not line.startswith("generated")))
    assert "1 bar is by hand" in convert(tmp_path, "--keep-edits", "--transpose", "2")
    after = read_sheet(path)
    assert after.drums[0] == "hat"
    assert after.voice1 == tuple(cell + 2 if cell >= 0 else cell for cell in before.voice1)


def test_edits_in_finer_steps_keep_their_step_unless_another_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "two_gulls.duet"
    convert(tmp_path)
    usual = read_sheet(path).step_beats
    convert(tmp_path, "--step", str(usual / 2))
    write_sheet(replace(read_sheet(path), title="My gulls"), path)
    convert(tmp_path, "--transpose", "1", "--keep-edits")
    assert (read_sheet(path).step_beats, read_sheet(path).title) == (usual / 2, "My gulls")
    convert(tmp_path, "--keep-edits", "--step", str(usual))
    assert (read_sheet(path).step_beats, read_sheet(path).title) == (usual, "My gulls")


def test_edits_that_another_engine_cannot_play_leave_all_files_as_they_were(tmp_path: Path) -> None:
    convert(tmp_path)
    path = tmp_path / "two_gulls.duet"
    text = path.read_text()
    tone = next(word for word in text.split("voice 1")[1].split() if word not in ".-|")
    path.write_text(text.replace(tone, "C1", 1))
    before = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    with pytest.raises(SheetError, match=r"two_gulls\.duet: bar .*C1 is outside the pitch table"):
        convert(tmp_path, "--engine", "pc-alternate", "--keep-edits=as-typed")
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == before
    convert(tmp_path, "--engine", "pc-alternate", "--keep-edits")
    assert "C2" in path.read_text()
    assert all(cell < 0 or cell >= 36 for cell in read_sheet(path).voice1)


def test_a_passage_alone_takes_no_edits_of_a_whole_sheet(tmp_path: Path) -> None:
    convert(tmp_path)
    path = tmp_path / "two_gulls.duet"
    write_sheet(replace(read_sheet(path), title="My gulls"), path)
    before = path.read_bytes()
    with pytest.raises(SheetError, match="isn't of the bars 2-3 alone"):
        convert(tmp_path, "--keep-edits", "--bars", "2-3")
    assert path.read_bytes() == before
    path.unlink()
    convert(tmp_path, "--bars", "2-3")
    write_sheet(replace(read_sheet(path), title="My gulls"), path)
    for passage, bars in ((("--bars", "2-3"), 2), ((), len(parse(before.decode()).bars))):
        convert(tmp_path, "--keep-edits", "--transpose", "1", *passage)
        assert (read_sheet(path).title, len(read_sheet(path).bars)) == ("My gulls", bars)


def test_a_mark_and_a_drum_row_by_hand_dont_hold_back_a_transposition(tmp_path: Path) -> None:
    convert(tmp_path)
    path = tmp_path / "two_gulls.duet"
    before = read_sheet(path)
    drums = tuple("hat" if step % 2 else None for step in range(before.steps))
    write_sheet(replace(before, loop_step=before.bar_starts[2], drums=drums), path)
    told = convert(tmp_path, "--transpose", "3", "--keep-edits")
    after = read_sheet(path)
    assert (after.loop_step, after.drums) == (before.bar_starts[2], drums)
    for was, now in ((before.voice1, after.voice1), (before.voice2, after.voice2)):
        assert now == tuple(cell + 3 if cell >= 0 else cell for cell in was)
    assert f"{len(after.bars)} bars are by hand, only the drums" in told


def test_another_song_of_the_same_name_is_noticed(tmp_path: Path) -> None:
    convert(tmp_path)
    path = tmp_path / "two_gulls.duet"
    write_sheet(replace(read_sheet(path), title="Mine"), path)
    text = path.read_text()
    song = tmp_path / "other" / "two_gulls.mid"
    song.parent.mkdir()
    song.write_bytes(SONG.with_name("ferry_waltz.mid").read_bytes())
    words = ["convert", str(song), "-o", str(tmp_path), "--no-audio", "--keep-edits"]
    refused = CliRunner().invoke(app, words)
    assert isinstance(refused.exception, OutputError)
    assert "two_gulls.duet: was made when" in str(refused.exception)
    assert "--song-changed" in str(refused.exception)
    assert path.read_text() == text
    assert CliRunner().invoke(app, [*words, "--song-changed"]).exit_code == 0
    assert read_sheet(path).title == "Mine"
    assert read_sheet(path).source_sha256 != parse(text).source_sha256
    assert CliRunner().invoke(app, words).exit_code == 0


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["--keep-edits", str(SONG)], 0, ""),
        ([str(SONG), "--keep-edits=as-typed"], 0, ""),
        (["--keep-edits=as-typed", "--", str(SONG)], 0, ""),
        ([str(SONG), "--keep-edits=played"], 2, "'played' is not as-typed"),
        ([str(SONG), "--keep-edits="], 2, "'' is not as-typed"),
    ],
)
def test_the_way_to_keep_edits_may_be_named(
    tmp_path: Path, words: list[str], code: int, said: str
) -> None:
    result = CliRunner().invoke(app, ["convert", "-o", str(tmp_path), "--no-audio", *words])
    assert result.exit_code == code
    assert said in result.output


def test_keeping_edits_of_an_unreadable_sheet_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "two_gulls.duet"
    path.write_text("my notes")
    with pytest.raises(SheetError, match="line 1"):
        convert(tmp_path, "--keep-edits")
    assert path.read_text() == "my notes"


def test_a_sheet_declared_generated_keeps_its_digest_through_the_text() -> None:
    declared = with_digest(edits.edit(random.Random(3), sheet(1)).sheet)
    assert not is_edited(parse(format_sheet(declared)))
