"""README.md and DEVELOPERS.md: every command that they show is run, here, in a copy of a song."""

from __future__ import annotations

import re
import runpy
import shlex
import shutil
import signal
import subprocess
import sys
import tomllib
from importlib.util import find_spec
from pathlib import Path
from urllib.request import urlopen

import mido
import pytest

from arranger.cli.app import run
from arranger.sheet.history.back import undo
from arranger.sheet.history.file import write_version
from tests.processes import interruptible, running
from tests.sheet.test_watching import PATIENCE_SECONDS, lines_of
from tests.song.midi_bytes import QUARTER_C4, header, track

ROOT = Path(__file__).parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
TEXTS = {name: (ROOT / name).read_text("utf-8") for name in DOCUMENTS}
PLACEHOLDERS = {
    "COMMAND": "convert", "FORMAT": "json", "FILE": "made.json", "NAME": "song",
    "FOLDER": "songs", "OUT": "book",
}  # fmt: skip


def blocks(language: str) -> list[str]:
    """Return the fenced blocks of a language."""
    return [
        block
        for text in TEXTS.values()
        for block in re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
    ]


def inline() -> list[str]:
    """Return what stands between backquotes in prose and tables; it may go on in the next line."""
    prose = [re.sub(r"^```.*?^```", "", text, flags=re.M | re.S) for text in TEXTS.values()]
    return [" ".join(code.split()) for text in prose for code in re.findall(r"`([^`]+)`", text)]


def shell_lines() -> list[str]:
    """Return the commands of all shell blocks, without comments."""
    lines = [line for block in blocks("sh") for line in block.splitlines()]
    return [one.strip() for line in lines for one in line.partition("#")[0].split("&&")]


def commands() -> list[str]:
    """Return every command line of arranger that is shown; options alone are of `convert`."""
    shown = [line.removeprefix(".venv/bin/") for line in shell_lines()]
    shown += [code for code in inline() if code.startswith("arranger ")]
    tour = re.search(r"## A tour\n(.*?)^## ", TEXTS["README.md"], re.MULTILINE | re.DOTALL)
    assert tour is not None
    options = re.findall(r"`(--[^`]+)`", "\n".join(re.findall(r"^\|.*\|$", tour[1], re.MULTILINE)))
    shown += [f"arranger convert song.mid -o out --no-audio {option}" for option in options]
    found = [line for line in shown if line.startswith("arranger ") and " " in line.strip()]
    return [line for line in dict.fromkeys(found) if "<" not in line]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder with all that the documents speak of."""
    folder = tmp_path_factory.mktemp("made")
    shutil.copytree(ROOT / "demo_songs", folder / "demo_songs")
    song = mido.MidiFile(folder / "demo_songs" / "boat_parade.mid")
    for message in (message for one in song.tracks for message in one):
        if message.type == "track_name" and message.name == "guitar":
            message.name = "flute"
    song.save(folder / "song.mid")
    songs = folder / "songs"
    songs.mkdir()
    shutil.copy(folder / "demo_songs" / "two_gulls.mid", songs)
    (folder / "patterns.mid").write_bytes(header(2, 3) + 3 * track(QUARTER_C4))
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert run(["convert", "song.mid", "-o", "out", "--no-suggestions"]) == 0
        assert run(["engines", "new", "my-routine.toml"]) == 0
        shutil.copy("out/song.duet", "song.duet")
        assert run(["export", "song.duet", "--as", "musicxml", "-o", "song.musicxml"]) == 0
    for sheet in (folder / "song.duet", folder / "out" / "song.duet"):
        text = sheet.read_text("utf-8")
        before = re.sub(r"(voice 1 +)[A-G]#?\d", r"\1.", text, count=1)
        assert before != text
        for content in (before, text, before):
            write_version(sheet, content.encode(), "tidy")
        undo(sheet)
    return folder


@pytest.fixture
def here(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return a copy of that folder, as the working directory."""
    folder = tmp_path / "here"
    shutil.copytree(made, folder)
    monkeypatch.chdir(folder)
    return folder


def words(line: str) -> list[str]:
    found = shlex.split(line)[1:]
    for name, value in PLACEHOLDERS.items():
        found = [re.sub(rf"\b{name}\b", value, word) for word in found]
    return [*found, "--help"] if len(found) == 1 and found != ["engines"] else found


@pytest.mark.parametrize("line", commands())
def test_a_command_does_what_it_says_without_an_error(line: str, here: Path) -> None:
    arguments = words(line)
    if arguments[:2] == ["engines", "new"]:
        (here / "my-routine.toml").unlink()
    if arguments[0] == "songbook":
        _songbook(*arguments)
    elif "--watch" in arguments:
        _watch(arguments)
    elif arguments[0] == "review" and "--help" not in arguments:
        _review(arguments)
    else:
        assert run(arguments) == 0


def _songbook(*arguments: str) -> None:
    # in a process of its own: workers keep the working directory that they were started in
    with running([sys.executable, "-m", "arranger", *arguments]) as process:
        assert process.wait(timeout=120) == 0


def _watch(arguments: list[str]) -> None:
    with running(
        interruptible(*arguments), stdout=subprocess.PIPE, stderr=subprocess.STDOUT
    ) as process:
        assert process.stdout is not None
        lines = lines_of(process.stdout)
        assert "watching" in lines.get(timeout=PATIENCE_SECONDS)
        assert ".wav: " in lines.get(timeout=PATIENCE_SECONDS)
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=PATIENCE_SECONDS) == 0


def _review(arguments: list[str]) -> None:
    command = interruptible(*dict.fromkeys([*arguments, "--no-browser"]))
    with running(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT) as process:
        assert process.stdout is not None
        lines = lines_of(process.stdout)
        assert "reviewing" in lines.get(timeout=PATIENCE_SECONDS)
        address = lines.get(timeout=PATIENCE_SECONDS).strip()
        with urlopen(address, timeout=PATIENCE_SECONDS) as page:
            assert page.status == 200
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=PATIENCE_SECONDS) == 0


def test_every_command_is_shown() -> None:
    helped = subprocess.run(
        [sys.executable, "-m", "arranger", "--help"],
        capture_output=True, text=True, check=True, timeout=120,
    )  # fmt: skip
    names = set(re.findall(r"^  ([a-z]+)  ", helped.stdout, re.MULTILINE))
    assert len(names) >= 10
    assert names == {words(line)[0] for line in commands()} & names


@pytest.mark.parametrize("number", range(len(blocks("python"))))
def test_an_example_in_python_runs(number: int, here: Path, tmp_path: Path) -> None:
    script = tmp_path / "example.py"
    script.write_text(blocks("python")[number], "utf-8")
    runpy.run_path(str(script))
    assert (here / "song.duet").is_file()


def test_settings_of_a_songbook_as_shown_are_read(here: Path) -> None:
    (block,) = (block for block in blocks("toml") if "[defaults]" in block)
    marches = here / "songs" / "marches"
    marches.mkdir()
    shutil.copy(here / "song.mid", marches / "parade.mid")
    shown = tomllib.loads(block)["songs"]["marches/parade.mid"]
    assert shown["tune"] == "trumpet", "a part of the song that stands for it here"
    song = mido.MidiFile(marches / "parade.mid")
    tuba = mido.MidiTrack([mido.MetaMessage("track_name", name="tuba")])
    tuba.append(mido.Message("note_on", channel=7, note=40))
    tuba.append(mido.Message("note_off", channel=7, note=40, time=480))
    song.tracks.append(tuba)
    song.save(marches / "parade.mid")
    (here / "songs" / "songbook.toml").write_text(block, "utf-8")
    _songbook("songbook", "songs", "-o", "book")


def other_commands() -> list[str]:
    """Return the command lines that aren't arranger's."""
    shown = [*shell_lines(), *(code for code in inline() if re.match(r"(python|pip|bash) ", code))]
    return [line for line in dict.fromkeys(shown) if line and "arranger " not in line]


@pytest.mark.parametrize("line", other_commands())
def test_other_commands_name_what_there_is(line: str) -> None:
    # They install, or run for minutes: here only what they name is looked for.
    program, *rest = shlex.split(line)
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    if rest[:2] == ["-m", "venv"]:
        assert find_spec("venv") is not None
    elif program.endswith("python") or program == "python3":
        assert rest[0] == "-m"
        name = rest[1].replace("NAME", "lines")
        if name == "pytest":
            return
        assert find_spec(name) is not None
        assert '__name__ == "__main__"' in (ROOT / f"{name.replace('.', '/')}.py").read_text()
    elif program == "bash":
        assert subprocess.run(["bash", "-n", ROOT / rest[0]], check=False).returncode == 0
    elif program.endswith("pip"):
        assert rest[0] == "install"
        (wanted,) = [word for word in rest[1:] if not word.startswith("-")]
        named = re.fullmatch(r"\.(?:\[(\w+)\])?", wanted)
        listed = [re.split(r"\W", each)[0] for each in extras["optional-dependencies"]["measure"]]
        assert wanted in listed or (
            named and (named[1] in {None, *extras["optional-dependencies"]})
        )
    else:
        pytest.fail(f"nobody looks after {line!r}")


def test_the_table_of_measurements_names_every_script() -> None:
    scripts = {path.stem for path in (ROOT / "tests" / "benchmarks").glob("*.py")}
    runnable = {
        name
        for name in scripts
        if '__name__ == "__main__"' in (ROOT / f"tests/benchmarks/{name}.py").read_text("utf-8")
    }
    rows = re.findall(r"^\| (`\w+`(?:, `\w+`)*) \|", TEXTS["DEVELOPERS.md"], re.MULTILINE)
    named = {name for row in rows for name in re.findall(r"\w+", row)}
    trained = set(re.findall(r"tests\.benchmarks\.(\w+)", TEXTS["DEVELOPERS.md"])) - {"NAME", "X"}
    assert runnable <= named | trained
    assert trained <= scripts
