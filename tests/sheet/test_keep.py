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
from arranger.sheet.digest import generated_parts
from arranger.sheet.keep import State, look, write_generated
from arranger.sheet.played import step_length

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

generated header 0cf6f2fc95 799eb9c6d0 11c5642c13   # these lines tell arranger which bars were edited
generated 1      30b8113cb6
"""
"""Written when every sheet had a length, and the tempo told only."""


def test_a_sheet_of_before_is_known_as_generated_and_its_length_rules() -> None:
    old = parse(OF_BEFORE)
    assert not is_edited(old)
    assert old.generated == generated_parts(old)
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
        ("edited", State.EDITED, "edited by hand.*--keep-edits.*--force"),
        ("half", State.UNREADABLE, "no sheet.*line 1.*--force"),
        ("binary", State.UNREADABLE, "not UTF-8.*--force"),
    ],
)
def test_nothing_of_the_hands_is_overwritten_unasked(
    tmp_path: Path, content: str, state: State, told: str
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


def convert(folder: Path, *more: str) -> str:
    result = CliRunner().invoke(app, ["convert", str(SONG), "-o", str(folder), "--no-audio", *more])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.output


def test_converting_again_keeps_what_the_hand_did(tmp_path: Path) -> None:
    path = tmp_path / "two_gulls.duet"
    convert(tmp_path)
    assert look(path).state is State.GENERATED
    before = read_sheet(path)
    changed = replace(before, voice1=(60, *before.voice1[1:]))
    assert changed.voice1 != before.voice1
    write_sheet(changed, path)

    with pytest.raises(OutputError, match="edited by hand"):
        convert(tmp_path, "--transpose", "2")
    assert read_sheet(path) == changed

    assert "1 bar is by hand" in convert(tmp_path, "--transpose", "2", "--keep-edits")
    after = read_sheet(path)
    first = after.bars[0].steps
    assert after.voice1[:first] == changed.voice1[:first]
    assert after.voice1[first:] != before.voice1[first:]
    assert is_edited(after)

    # another engine: the edit goes along
    convert(tmp_path, "--engine", "twin-counter", "--transpose", "2", "--keep-edits")
    moved = read_sheet(path)
    assert moved.engine == "twin-counter"
    assert moved.voice1[:first] == changed.voice1[:first]

    convert(tmp_path, "--force")
    assert read_sheet(path) == before


def test_edits_in_finer_steps_keep_their_step_unless_another_is_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "two_gulls.duet"
    convert(tmp_path)
    usual = read_sheet(path).step_beats
    convert(tmp_path, "--step", str(usual / 2))
    write_sheet(replace(read_sheet(path), title="My gulls"), path)
    convert(tmp_path, "--transpose", "1", "--keep-edits")
    assert (read_sheet(path).step_beats, read_sheet(path).title) == (usual / 2, "My gulls")
    with pytest.raises(SheetError, match=f"--step {usual / 2}"):
        convert(tmp_path, "--keep-edits", "--step", str(usual))


def test_edits_that_another_engine_cannot_play_leave_all_files_as_they_were(tmp_path: Path) -> None:
    convert(tmp_path)
    path = tmp_path / "two_gulls.duet"
    text = path.read_text()
    tone = next(word for word in text.split("voice 1")[1].split() if word not in ".-|")
    path.write_text(text.replace(tone, "C1", 1))
    before = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    with pytest.raises(SheetError, match=r"two_gulls\.duet: bar .*C1 is outside the pitch table"):
        convert(tmp_path, "--engine", "pc-alternate", "--keep-edits")
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == before


def test_keeping_edits_of_an_unreadable_sheet_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "two_gulls.duet"
    path.write_text("my notes")
    with pytest.raises(SheetError, match="line 1"):
        convert(tmp_path, "--keep-edits")
    assert path.read_text() == "my notes"


def test_a_sheet_declared_generated_keeps_its_digest_through_the_text() -> None:
    declared = with_digest(edits.edit(random.Random(3), sheet(1)).sheet)
    assert not is_edited(parse(format_sheet(declared)))
