"""Which changes of the program count: a copy of it is changed for real."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from arranger.settings import Settings
from arranger.sheet.keep import NOT_KEPT, Keeping
from arranger.songbook.asked.job import Job
from arranger.songbook.known.program import (
    CONVERTING,
    PACKAGE,
    SOUNDING,
    WORKING,
    Program,
    engine_digest,
    program,
    reached,
)
from arranger.songbook.working.work import do_job
from tests.songbook.runs import command, edit, environment
from tests.songbook.songs import write_song


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """Return a copy of the program that may be changed."""
    return Path(shutil.copytree(PACKAGE, tmp_path / "copy" / "arranger"))


def change(path: Path, before: str, after: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert before in text, path
    path.write_text(text.replace(before, after, 1), encoding="utf-8")


def change_nothing(copy: Path) -> None:
    """Change what can't be heard or seen in what is made of a song."""
    change(copy / "reduce/run.py", '"""', '"""Said otherwise. ')
    change(
        copy / "reduce/choose/costs.py", "\n\n\n", '\n\n\n# Said besides.\n"""Said besides."""\n'
    )
    change(
        copy / "grid/steps/choose.py", "if TYPE_CHECKING:\n", "if TYPE_CHECKING:\n    import this\n"
    )
    change(copy / "reduce/__init__.py", '"""', '"""Said otherwise. ')
    change(copy / "reduce/choose/_optimum.c", "/*", "/* Said otherwise. ")
    change(copy / "report/page/main.js", "\n", "\n// Said otherwise.\n")
    change(copy / "reduce/worth/name_words.toml", "\n", "\n# Said otherwise.\n")
    for other in (
        "cli/check.py",
        "review/live.py",
        "songbook/shown/overview.py",
        "sheet/score/pdf.py",
    ):
        change(copy / other, "\n\n\n", "\n\n\nSAID_BESIDES = 1\n\n\n")
    change(copy / "report/page/book.html", "<body", "<body class=other")


CHANGES: dict[str, tuple[str, str, str, set[str]]] = {
    "a price": ("reduce/choose/costs.py", "_term(0.2,", "_term(0.21,", {"converts", "writes"}),
    "in C": ("reduce/choose/_optimum.c", "return 0;", "return 1;", {"converts", "writes"}),
    "the page": ("report/page/main.js", "const view", "let view", {"writes"}),
    "a speaker": ("sound/speaker.py", "import", "import os\nimport", {"sounds"}),
}


def test_only_what_can_change_an_output_counts(copy: Path) -> None:
    first = program(package=copy)
    change_nothing(copy)
    same = program(first, copy)
    assert same.raw != first.raw
    assert same[1:] == first[1:]
    for path, before, after, counts in CHANGES.values():
        content = (copy / path).read_bytes()
        change(copy / path, before, after)
        now = program(same, copy)
        changed = {
            name for name in Program._fields[1:] if getattr(now, name) != getattr(same, name)
        }
        assert changed == counts, path
        (copy / path).write_bytes(content)
    noted = same._replace(converts="as it was noted")
    assert program(noted, copy) is noted


def test_data_and_what_runs_elsewhere_counts() -> None:
    assert reached(CONVERTING) >= {
        "reduce/worth/tune_model.npy", "reduce/worth/name_words.toml", "grid/track/networks/bars.npz",
        "grid/track/weights.json", "song/score/reading.py",
    }  # fmt: skip


def test_an_engine_counts_by_what_its_file_says(tmp_path: Path) -> None:
    mine = tmp_path / "mine.toml"
    mine.write_text(' # said of it\nname = "mine"\n')
    before = engine_digest(str(mine))
    mine.write_text('name   = "mine"\n')
    assert engine_digest(str(mine)) == before
    mine.write_text('name = "other"\n')
    assert engine_digest(str(mine)) not in (before, "")
    assert engine_digest("twin-phase") != engine_digest("twin-counter") != ""
    assert engine_digest(str(tmp_path / "none.toml")) == ""


def test_every_function_that_a_conversion_runs_counts(tmp_path: Path) -> None:
    write_song(tmp_path / "a.mid", 1, notes=60)
    (tmp_path / "b.mid").write_bytes((tmp_path / "a.mid").read_bytes().replace(b"MTrk", b"MTxx", 1))
    ran: set[str] = set()

    def note(frame: object, *_: object) -> None:
        code = frame.f_code  # type: ignore[attr-defined]
        if code.co_name != "<module>" and code.co_filename.startswith(f"{PACKAGE}/"):
            ran.add(Path(code.co_filename).relative_to(PACKAGE).as_posix())

    def convert_all(watch: bool) -> None:
        for name in ("a", "b"):
            for keeping in (NOT_KEPT, Keeping(edits=True)):
                job = Job(
                    source=tmp_path / f"{name}.mid", relative=name, place=name, out=tmp_path / "out",
                    settings=Settings(), audio="wav", force=False, keeping=keeping,
                    seconds=60, megabytes=2000,
                )  # fmt: skip
                sys.setprofile(note if watch else None)
                try:
                    record = do_job(job)
                finally:
                    sys.setprofile(None)
                assert record.state in ("done", "kept-edit"), record
                if keeping is NOT_KEPT and record.state == "done":
                    edit(tmp_path / "out" / f"{name}.duet")

    convert_all(watch=False)  # so that nothing is imported any more
    convert_all(watch=True)
    assert {"song/midi/mend.py", "sheet/merging/merge.py", "songbook/known/standing.py"} <= ran
    counted = reached((*CONVERTING, *WORKING, *SOUNDING))
    assert ran - counted == {"lazy.py"}, "which only hands names on"


def test_a_run_of_a_changed_program_tells_what_it_redoes(tmp_path: Path, copy: Path) -> None:
    write_song(tmp_path / "songs" / "a.mid", 1)

    def told(*words: str) -> list[str]:
        done = subprocess.run(
            command(tmp_path / "songs", tmp_path / "out", "--json", *words),
            env={**environment(), "PYTHONPATH": str(copy.parent)},
            cwd=tmp_path, capture_output=True, text=True, check=True,
        )  # fmt: skip
        return list(json.loads(done.stdout)["why"])

    assert told() == ["new"]
    change_nothing(copy)
    assert told("--dry-run") == ["unchanged"]
    change(copy / "reduce/choose/costs.py", "_term(0.2,", "_term(0.21,")
    assert told("--dry-run") == ["program"]
