"""Whether random sessions of editing ever lose an edit, and whether undo brings back every byte.

    python -m tests.benchmarks.editing_sessions [SONGS ...] [--sessions N] [--jobs N] [--first SEED]

A session converts a passage of a song (a MIDI file, or one of a folder; default: the demo songs) and
goes on with some five of these, at random: edits of rows, drums, marks, comments, title and whole bars
in the text, as an editor makes them; ``arranger bars``, ``tidy``, ``spread``; conversion anew in
another step, engine or key with ``--keep-edits``; ``undo`` and ``redo``. After each it looks at:

- each thing made by hand is still there, moved with the key or to other steps, or it is listed in a
  comment; unless a command was asked to take it away (bars deleted, rows cleared);
- tones made by hand sound n semitones higher, folded by octaves, where the song was transposed by n;
- the sheet can be read and checked without an error, and bar numbers rise;
- undo and redo bring back what two plain stacks say, to the byte.

Commands are those of the command line; of the conversions one in twenty is, the others are its
functions on songs converted before. Failures are printed with the seed of their session: ``--first
SEED --sessions 1`` shows it step by step. The goal is none in 20,000 sessions.
"""

from __future__ import annotations

import argparse
import contextlib
import functools
import io
import multiprocessing
import random
import re
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from arranger.cli.app import run
from arranger.conversion import convert
from arranger.conversion.by_hand import with_edits
from arranger.engine import load_engine
from arranger.errors import ArrangerError, SettingsError
from arranger.options import build_settings
from arranger.reduce.worth import weigh as weighing
from arranger.reduce.worth.tune_model import tune_likelihood
from arranger.sheet import is_edited
from arranger.sheet.check import check_text
from arranger.sheet.keep import write_generated
from arranger.song import read_song
from tests.benchmarks.editing_by_hand import (
    Hit,
    Item,
    Tempo,
    Title,
    Tones,
    bars_of,
    by_hand,
    moved,
)
from tests.benchmarks.editing_laws import (
    BrokenLawError,
    Change,
    State,
    by_chance,
    followers,
    listed,
    music,
    rise,
    untouched_as_generated,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

    from arranger.columns import Floats
    from arranger.conversion import Conversion
    from arranger.reduce.worth.tune_model import Voicing
    from arranger.song.model import Song

DEMO = Path(__file__).parents[2] / "demo_songs"
ENGINES = ("twin-phase", "twin-counter", "pc-alternate")
STEPS = ("1/2", "1/3", "1/4", "1/6", "1/8")
KEYS = (-9, -5, -2, 0, 1, 4, 7)
REAL_SHARE = 0.05
AS_TYPED_SHARE = 0.03
A_SONG = 500
"""So many sessions in a row are of one song, so that its conversions are at hand."""
ONCE = functools.lru_cache(maxsize=16)(load_engine)


class Session:
    """One session, in a folder of its own."""

    def __init__(self, seed: int, songs: list[Path], folder: Path) -> None:
        self.rng = random.Random(seed)
        self.folder = folder
        self.song = songs[seed // A_SONG % len(songs)]
        self.path = folder / f"{self.song.stem}.duet"
        self.passage = self.rng.choice(("1-4", "3-8"))
        self.words: dict[str, str] = {"engine": self.rng.choice(ENGINES)}
        self.behind: list[State] = []
        self.ahead: list[State] = []
        self.log: list[str] = []
        self.counts: Counter[str] = Counter()
        self.mark = 0

    def play(self) -> None:
        try:
            conversion = converted(self.song, self.passage, tuple(sorted(self.words.items())))
        except SettingsError:
            self.counts["songs without that passage"] += 1
            return
        self.say(f"convert {self.song.name} --bars {self.passage} {self.words}")
        write_generated(self.path, conversion.sheet)
        shift = conversion.reduction.ledger.transpose
        self.state = self.first = State(self.path.read_bytes(), (), shift)
        moves = (
            (self.edit, 8), (self.bars, 5), (self.tidy, 2), (self.spread, 1), (self.convert, 5),
            (self.undo, 3), (self.redo, 2),
        )  # fmt: skip
        self.edit()
        for _ in range(self.rng.randint(3, 7)):
            self.rng.choices([move for move, _ in moves], [weight for _, weight in moves])[0]()

    def say(self, text: str) -> None:
        self.log.append(text)

    # by hand

    def edit(self) -> None:
        self.mark += 1
        state = self.state
        found = by_hand(self.rng, state.content.decode("utf-8"), state.sheet, self.mark)
        if found is None:
            return
        self.say(f"by hand: {found.told}")
        self.counts["edits by hand"] += 1
        self.path.write_bytes(found.text.encode())
        rows = None if found.moves_bars else state.rows
        if rows is not None and found.row is not None:
            bars = followers(state.sheet, {found.row[0]})
            rows |= {(bar, found.row[1]) for bar in bars}
        bare = State(found.text.encode(), (), state.shift, rows)
        kept = (item for item in state.items if not isinstance(item, found.replaced))
        items = {*(item for item in kept if item.found(bare.sheet)), *found.new}
        self.state = replace(bare, items=tuple(sorted(items, key=repr)))
        self.look(self.state, written=False)

    # by commands

    def command(self, words: list[str], change: Change) -> None:
        """Run a command that writes the sheet."""
        self.say(" ".join(words))
        before = self.state
        code, told = spoken(words)
        if code:
            why = re.sub(r"\d+", "N", told.rsplit(": ", 1)[-1])
            self.counts[f"refused: {words[0]} {why[:60]}"] += 1
            self.say(f"  refused: {told}")
            if self.path.read_bytes() != before.content:
                raise BrokenLawError("a command that was refused has written the sheet")
            return
        self.counts[words[0] if words[0] != "bars" else f"bars {words[2]}"] += 1
        self.written(change, renumbers=words[0] == "tidy")

    def written(self, change: Change, *, renumbers: bool, shift: int | None = None) -> None:
        before, content = self.state, self.path.read_bytes()
        if content == before.content:
            if shift is not None and self.behind:
                self.note(before)
            return
        rows = before.rows if change.same_music or shift is not None else None
        after = State(content, (), before.shift if shift is None else shift, rows)
        self.state = replace(after, items=tuple(self.still_there(change, before, after)))
        if change.same_music and music(before.sheet) != music(after.sheet):
            raise BrokenLawError("the music has changed")
        self.look(self.state, written=True)
        if (renumbers or rise(before.sheet)) and not rise(after.sheet):
            raise BrokenLawError(f"numbers don't rise: {[bar.number for bar in after.sheet.bars]}")
        self.note(before)
        self.note(self.state)

    def still_there(self, change: Change, before: State, after: State) -> Iterator[Item]:
        for item in before.items:
            now = next((each for each in change.variants(item) if each.found(after.sheet)), None)
            generated = change.generated
            if now is not None and generated and by_chance(now, after.sheet, generated):
                self.counts["generated as the hand had it"] += 1
            elif now is not None:
                yield now
            elif change.may_lose(item):
                self.counts["taken away as asked"] += 1
            elif change.listed and listed(item, change, before.sheet, after.sheet):
                self.counts["listed in a comment"] += 1
            else:
                raise BrokenLawError(f"lost: {item}")

    def look(self, state: State, *, written: bool) -> None:
        """Look at what holds of every sheet."""
        for item in state.items:
            if not item.found(state.sheet):
                raise BrokenLawError(f"not there: {item}")
        if not written:
            return
        text = state.content.decode("utf-8")
        checked = check_text(text, lambda name: ONCE(name))
        if checked.errors:
            raise BrokenLawError(f"check finds errors: {checked.problems[0]}")

    def note(self, state: State) -> None:
        """Note what stands in the file, as the history does; the sheet itself tells what was first."""
        if not self.behind and is_edited(state.sheet):
            self.behind.append(self.first)
        if not self.behind or self.behind[-1].content != state.content:
            self.behind.append(state)
            self.ahead.clear()
        else:
            self.behind[-1] = state

    def note_found(self) -> None:
        if self.behind or is_edited(self.state.sheet):
            self.note(self.state)

    def undo(self) -> None:
        self.counts["undo"] += 1
        self.say("undo")
        self.note_found()
        code, told = spoken(["undo", str(self.path)])
        if (code == 0) != (len(self.behind) > 1):
            raise BrokenLawError(f"undo: exit code {code} with {len(self.behind)} versions: {told}")
        if code == 0:
            self.ahead.append(self.behind.pop())
            self.put_back()

    def redo(self) -> None:
        self.counts["redo"] += 1
        self.say("redo")
        self.note_found()
        code, told = spoken(["redo", str(self.path)])
        if (code == 0) != bool(self.ahead):
            raise BrokenLawError(f"redo: exit code {code} with {len(self.ahead)} versions: {told}")
        if code == 0:
            self.behind.append(self.ahead.pop())
            self.put_back()

    def put_back(self) -> None:
        self.state = self.behind[-1]
        if self.path.read_bytes() != self.state.content:
            raise BrokenLawError("what was put back differs")

    def tidy(self) -> None:
        how = self.rng.choice(([], [], ["--fold"], ["--unfold"]))
        self.command(["tidy", str(self.path), *how], Change(same_music=True))

    def spread(self) -> None:
        rows = ([], [], ["--row", "voice1"], ["--row", "voice2"], ["--row", "drums"])
        self.command(["spread", str(self.path), *self.rng.choice(rows)], Change())

    def convert(self) -> None:
        kind = self.rng.choice(("step", "engine", "key", "key", "nothing", "auto"))
        if kind == "step":
            self.words["step"] = self.rng.choice(STEPS)
        elif kind == "engine":
            self.words["engine"] = self.rng.choice(ENGINES)
        elif kind == "auto":
            self.words["transpose"] = "auto"
        elif kind == "key":
            self.words["transpose"] = str(self.rng.choice(KEYS))
        words = tuple(sorted(self.words.items()))
        options = [word for name, value in words for word in (f"--{name}", value)]
        self.counts[f"convert, {kind}"] += 1
        anew = converted(self.song, self.passage, words)
        as_typed = self.rng.random() < AS_TYPED_SHARE
        self.say(f"convert --keep-edits{'=as-typed' * as_typed} {' '.join(options)}")
        if as_typed or self.rng.random() < REAL_SHARE:
            line = [
                "convert", str(self.song), "-o", str(self.folder), "--no-audio", "--no-suggestions",
                f"--keep-edits{'=as-typed' * as_typed}", "--bars", self.passage, *options,
            ]  # fmt: skip
            code, told = spoken(line)
            if code and as_typed and "outside the pitch" in told:
                self.counts["as typed, which the engine can't play"] += 1
                return
            if code:
                raise BrokenLawError(told)
        else:
            merged, _ = with_edits(anew, self.path)
            write_generated(self.path, merged.sheet, force=True)
        shift = anew.reduction.ledger.transpose
        by, pitches = shift - self.state.shift, frozenset(anew.engine.pitches)
        change = Change(
            variants=lambda item: (item if as_typed else moved(item, by, pitches),),
            listed=True,
            generated=anew.sheet,
        )
        before = self.state
        self.written(change, renumbers=True, shift=shift)
        rows = untouched_as_generated(before, self.state.sheet, anew.sheet)
        self.counts["rows without cells by hand: as generated now"] += rows

    def bars(self) -> None:
        bars_command(self)


def bars_command(session: Session) -> None:
    """Run one of the commands on bars."""
    rng, sheet = session.rng, session.state.sheet
    first = rng.randrange(len(sheet.bars))
    last = min(len(sheet.bars) - 1, first + rng.choice((0, 0, 1, 3)))
    chosen = set(range(first, last + 1))
    numbers = [bar.number for bar in sheet.bars]
    named = f"{numbers[first]}-{numbers[last]}" if last > first else str(numbers[first])
    to = rng.randrange(len(sheet.bars))
    place = ["--to", rng.choice((str(numbers[to]), str(numbers[to]), "end"))]
    engine = ONCE(sheet.engine)
    pitches = frozenset(engine.pitches)
    what = rng.choice(
        ("copy", "copy", "insert", "delete", "move", "transpose", "octave", "swap", "clear", "fill")
    )
    touched = chosen | followers(sheet, chosen)

    def inside(item: Item, bars: set[int] = touched) -> bool:
        return set(bars_of(sheet, item.found(sheet))) <= bars

    line = [what, named]
    change = Change()
    if what == "copy":
        line += place
        if rng.random() < 0.3:
            line.append("--over")
            over = set(range(to, to + last - first + 1))
            over |= followers(sheet, over)
            rows = (Tones, Hit)
            change = Change(may_lose=lambda item: isinstance(item, rows) and inside(item, over))
        if rng.random() < 0.3:
            line.append("--as")
    elif what == "insert":
        line = [what, str(last - first + 1), *place]
    elif what == "delete":
        change = Change(
            may_lose=lambda item: not isinstance(item, Title | Tempo) and inside(item, chosen)
        )
    elif what == "move":
        line += place
    elif what in ("transpose", "octave"):
        by = rng.randint(-7, 7) or 1
        if what == "transpose":
            line += ["--by", str(by)]
        else:
            by = rng.choice((12, -12))
            line.append("up" if by > 0 else "down")
        change = Change(
            variants=lambda item: (
                (moved(item, by, pitches), item)
                if inside(item)
                else (item, moved(item, by, pitches))
            )
        )
    elif what == "swap":
        change = Change(
            variants=lambda item: (
                (item, replace(item, voice=1 - item.voice)) if isinstance(item, Tones) else (item,)
            )
        )
    elif what == "clear":
        change = Change(may_lose=lambda item: isinstance(item, Tones | Hit) and inside(item))
        if rng.random() < 0.5:
            line += ["--row", "drums"]
            change = Change(may_lose=lambda item: isinstance(item, Hit) and inside(item))
    elif what == "fill":
        line.append("kick . hat .")
        change = Change(may_lose=lambda item: isinstance(item, Hit) and inside(item))
    session.command(["bars", str(session.path), *line], change)


def spoken(words: list[str]) -> tuple[int, str]:
    """Run a command line; return its exit code, and the last line of what it said."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(out):
        code = run(words)
    said = out.getvalue().strip().splitlines()
    if code == 1 and "defect of the program" in out.getvalue():
        raise BrokenLawError(said[-1])
    return code, said[-1] if said else ""


@functools.lru_cache(maxsize=64)
def read(path: Path) -> Song:
    return read_song(path)


@functools.lru_cache(maxsize=500)
def converted(path: Path, passage: str, words: tuple[tuple[str, str], ...]) -> Conversion:
    settings = build_settings({**dict(words), "bars": passage})
    return convert(read(path), ONCE(settings.engine), settings)


_likely: dict[bytes, Floats] = {}


def likely(notes: Voicing) -> Floats:
    """Return how likely notes are the tune, of each song once."""
    key = b"".join(values.tobytes() for values in notes)
    if key not in _likely:
        _likely[key] = tune_likelihood(notes)
    return _likely[key].copy()


class Played(NamedTuple):
    seed: int
    counts: Counter[str]
    log: list[str]
    failure: str


def played(seed: int, songs: list[Path]) -> Played:
    with tempfile.TemporaryDirectory() as name:
        session = Session(seed, songs, Path(name))
        failure = ""
        try:
            session.play()
        except (BrokenLawError, ArrangerError) as error:
            failure = f"{type(error).__name__}: {error}"
        except Exception:  # noqa: BLE001 - a defect is what this looks for
            failure = traceback.format_exc()
        if failure:
            session.log.append(session.path.read_text("utf-8", "replace"))
        return Played(seed, session.counts, session.log, failure)


def songs_of(names: list[Path]) -> list[Path]:
    found = [
        song for name in names for song in (sorted(name.glob("*.mid")) if name.is_dir() else [name])
    ]
    return [song for song in found if song.stat().st_size < 60_000] or found


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("songs", nargs="*", type=Path, default=[DEMO])
    parser.add_argument("--sessions", type=int, default=200)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--show", type=int, default=3, help="failures that are shown as a whole")
    asked = parser.parse_args()
    songs = songs_of(asked.songs)
    weighing.tune_likelihood = likely  # which is most of the work, and of the song alone
    play = functools.partial(played, songs=songs)
    seeds = range(asked.first, asked.first + asked.sessions)
    counts: Counter[str] = Counter()
    failures: Counter[str] = Counter()
    begun = time.monotonic()
    with multiprocessing.Pool(asked.jobs) as pool:
        for done, found in enumerate(
            pool.imap_unordered(
                play, seeds, chunksize=min(A_SONG, -(-asked.sessions // asked.jobs))
            ),
            1,
        ):
            counts += found.counts
            if found.failure:
                failures[re.sub(r"\d+", "N", found.failure.strip().splitlines()[-1])[:70]] += 1
                if failures.total() <= asked.show or asked.sessions == 1:
                    print(f"seed {found.seed}: {found.failure}", *found.log, "", sep="\n")
                else:
                    last = found.failure.strip().splitlines()[-1]
                    print(f"seed {found.seed}: {last[:100]} [{found.log[-2][:60]}]")
            elif asked.sessions == 1:
                print(*found.log, sep="\n")
            if done % 1000 == 0:
                print(f"{done} sessions, {failures.total()} failures", file=sys.stderr, flush=True)
    for what, many in sorted(counts.items()):
        print(f"{many:8,}  {what}")
    minutes = (time.monotonic() - begun) / 60
    print(f"{asked.sessions:,} sessions in {minutes:.1f} min: {failures.total()} failures")
    for what, many in failures.most_common():
        print(f"{many:8,}  {what}")


if __name__ == "__main__":
    main()
