"""What the page plays against the sound that the package computes, and against ISO 16 pitch."""

from __future__ import annotations

import base64
from dataclasses import replace
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import mido
import numpy as np
import pytest

from arranger.conversion import convert
from arranger.engine import load_engine
from arranger.engine.profile import DrumPart
from arranger.machine.json_export import json_values
from arranger.options import build_settings
from arranger.report.pages.page_data import page_data
from arranger.rows import tones
from arranger.song import read_song
from arranger.sound import edges, samples
from arranger.sound.schedule import total_cycles
from tests.browser.conftest import DEMO_SONGS, converted

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from numpy.typing import NDArray
    from playwright.sync_api import Browser, Page

    from arranger.conversion import Conversion
    from arranger.engine import Engine

pytestmark = pytest.mark.browser

RATE = 44_100
SCRIPTS = ("data.js", "state.js", "mixer.js", "routine.js", "sheet_sound.js", "song_sound.js")


@pytest.fixture(scope="module")
def blank(browser: Browser) -> Iterator[Page]:
    """Open an empty page with the scripts that make sound."""
    page = browser.new_page()
    page.set_content("<title>Sounds</title>")
    folder = files("arranger.report").joinpath("page")
    for name in SCRIPTS:
        page.add_script_tag(content=folder.joinpath(name).read_text(encoding="utf-8"))
    yield page
    page.close()


def embed(page: Page, conversion: Conversion) -> None:
    """Give a page what the scripts work on."""
    page.evaluate(
        "text => { window.account = readAccount(JSON.parse(text)); }",
        "".join(page_data(conversion)),
    )


def played(
    page: Page,
    conversion: Conversion,
    kind: str,
    chunks: list[int],
    tempo: float = 1,
    silenced: tuple[str, ...] = (),
) -> NDArray[np.float64]:
    """Return samples from the start, asked for in chunks, of "SheetSound" or "SongSound"."""
    embed(page, conversion)
    page.evaluate(
        """([tempo, silenced]) => {
          state.silenced = new Set(silenced);
          account = accountHeard(account, tempo);
        }""",
        [tempo, silenced],
    )
    found = page.evaluate(
        f"""chunks => {{
          const sound = new {kind}(account, {RATE});
          let at = 0;
          const all = new Float32Array(chunks.reduce((sum, count) => sum + count, 0));
          for (const count of chunks) {{
            all.set(sound.render(at, count), at);
            at += count;
          }}
          const bytes = new Uint8Array(all.buffer);
          let text = "";
          for (let i = 0; i < bytes.length; i += 32768) {{
            text += String.fromCharCode(...bytes.subarray(i, i + 32768));
          }}
          return btoa(text);
        }}""",
        chunks,
    )
    return np.frombuffer(base64.b64decode(found), dtype=np.float32).astype(np.float64)


def whole_step(engine: Engine) -> Engine:
    """Return an engine whose drums take the whole step."""
    return replace(engine, drum_takes_step=True)


def routine_elsewhere(engine: Engine) -> Engine:
    """Return an engine of which only the description is there."""
    return replace(engine, profile=engine.profile._replace(player=""))


def longer_kick(engine: Engine) -> Engine:
    """Return an engine whose kick goes on, after a rest, with noise to the end of its step."""
    noise = next(drum for drum in engine.drums if drum.parts[0].kind == "noise").parts[0]
    kick, *others = engine.drums
    rest = DrumPart("rest", (), 10 * engine.profile.loop.cycles)
    kick = kick._replace(parts=(rest, *kick.parts, rest, noise._replace(cycles=0)))
    return replace(engine, drums=(kick, *others))


PHASE, COUNTER, TIMER = map(load_engine, ("twin-phase", "twin-counter", "pc-alternate"))
ENGINES = {
    "twin-phase": PHASE,
    "twin-phase, whole step": whole_step(PHASE),
    "twin-phase, longer kick": longer_kick(PHASE),
    "twin-counter": COUNTER,
    "a routine elsewhere": routine_elsewhere(COUNTER),
    "a routine elsewhere, longer kick": routine_elsewhere(longer_kick(COUNTER)),
    "pc-alternate": TIMER,
    "pc-alternate, whole step": whole_step(TIMER),
    "pc-alternate, longer kick": longer_kick(TIMER),
}
each_engine = pytest.mark.parametrize("engine", ENGINES.values(), ids=ENGINES)


@each_engine
def test_the_sheet_sounds_as_the_package_renders_it(blank: Page, engine: Engine) -> None:
    settings = build_settings({"engine": engine.name})
    conversion = convert(read_song(DEMO_SONGS / "boat_parade.mid"), engine, settings)
    seconds = 4
    heard = played(blank, conversion, "SheetSound", [RATE] * seconds)
    blocks = []
    for block in samples(conversion.sheet, conversion.engine, sample_rate=RATE):
        blocks.append(block)
        if sum(map(len, blocks)) >= len(heard):
            break
    exact = np.concatenate(blocks)[: len(heard)].astype(np.float64)
    # Both are band-limited by filters of their own: compared where both are flat, below 10 kHz,
    # after taking out a delay of a fraction of a sample, which is no audible difference. A tone that
    # starts one step late, or is a cent off, leaves a difference of more than -20 dB.
    assert difference_db(heard, exact) < -40


def test_a_pulse_under_way_at_the_end_sounds_out(blank: Page) -> None:
    settings = build_settings({"engine": TIMER.name})
    conversion = convert(read_song(DEMO_SONGS / "two_gulls.mid"), TIMER, settings)
    embed(blank, conversion)
    found = blank.evaluate(
        """() => {
          const routine = makeRoutine(account), found = [];
          let level = 0, at = 0;
          const hold = (pin, until) => {
            if (pin !== level && until > at) found.push([at, (level = pin)]);
            at = until;
          };
          routine.start(0);
          for (let step = 0; step < account.steps + 2; step += 1) routine.play({ hold });
          return found;
        }"""
    )
    exact = [
        [clock, level]
        for clocks, levels in edges(conversion.sheet, TIMER)
        for clock, level in zip(clocks.tolist(), levels.tolist(), strict=True)
    ]
    assert found == exact
    assert exact[-1][0] > total_cycles(conversion.sheet, TIMER)


@pytest.mark.parametrize(
    ("rows", "silenced"),
    [({"voice1": -2}, ("sheet 0",)), ({"voice2": -2, "drums": None}, ("sheet 1", "sheet 2"))],
)
def test_what_is_silenced_is_not_played(
    blank: Page, parade: Conversion, rows: dict[str, int | None], silenced: tuple[str, ...]
) -> None:
    heard = played(blank, parade, "SheetSound", [3 * RATE], silenced=silenced)
    empty: dict[str, Any] = {name: (cell,) * parade.sheet.steps for name, cell in rows.items()}
    less = replace(parade.sheet, **empty)
    exact = np.concatenate(list(samples(less, parade.engine, sample_rate=RATE)))
    assert difference_db(heard, exact[: len(heard)].astype(np.float64)) < -40
    parts = tuple(f"song {part}" for part in range(len(parade.song.parts)))
    assert np.abs(played(blank, parade, "SongSound", [RATE], silenced=parts[1:])).max() > 0.01
    assert np.abs(played(blank, parade, "SongSound", [RATE], silenced=parts)).max() == 0


@each_engine
def test_tones_are_drawn_where_no_drum_silences_them(blank: Page, engine: Engine) -> None:
    settings = build_settings({"engine": engine.name})
    conversion = convert(read_song(DEMO_SONGS / "boat_parade.mid"), engine, settings)
    embed(blank, conversion)
    stretches = blank.evaluate(
        """() => {
          return account.tones.map((tones) => tones.flatMap((tone) => heardStretches(account, tone)));
        }"""
    )
    sheet = conversion.sheet
    drums = {each["name"]: each for each in json_values(sheet, conversion.engine)["drums"]}
    step_seconds = conversion.grid.step_length.seconds
    for drawn, row in zip(stretches, (sheet.voice1, sheet.voice2), strict=True):
        heard = np.zeros(sheet.steps)
        for part in drawn:
            for step in range(int(part["step"]), int(np.ceil(part["step"] + part["steps"]))):
                begin, end = max(part["step"], step), part["step"] + part["steps"]
                heard[step] += min(end, step + 1) - begin
        for share, pitch, name in zip(heard, tones(row), sheet.drums, strict=True):
            silent = 0.0 if name is None else drums[name]["seconds"] / step_seconds
            assert share == pytest.approx(0.0 if pitch is None else 1 - silent, abs=1e-6)


@pytest.mark.parametrize("name", ["boat_parade", "net_menders"])
def test_a_joint_sound_is_drawn_in_the_row_of_each_drum_and_a_gap_in_none(
    blank: Page, name: str
) -> None:
    conversion = converted(DEMO_SONGS / f"{name}.mid")
    embed(blank, conversion)
    drawn = blank.evaluate(
        "() => [...account.hitKeys].map(([step, keys]) => [step, [...keys].sort()])"
    )
    asked: dict[int, set[int]] = {}
    for note in conversion.song.notes:
        if note.drum:
            step = int(conversion.grid.onset_steps[note.id])
            asked.setdefault(step, set()).add(note.pitch)
    sounds = conversion.engine.sounds
    wanted = {}
    for step, sound in enumerate(conversion.sheet.drums):
        said = () if sound in (None, "gap") else (sound, *sounds[sound].joins)
        keys = {key for each in said for key in sounds[each].percussion_keys}
        if said:
            wanted[step] = sorted(keys & asked[step])
    assert dict(drawn) == wanted
    assert any(len(keys) == 2 for keys in wanted.values()) or "gap" in conversion.sheet.drums


def difference_db(heard: NDArray[np.float64], exact: NDArray[np.float64]) -> float:
    """Return the power of the difference below 10 kHz, in dB under that of the exact sound."""
    hertz = np.fft.rfftfreq(len(exact), 1 / RATE)
    low = hertz < 10_000
    one, other, hertz = np.fft.rfft(heard)[low], np.fft.rfft(exact)[low], hertz[low]
    delays = np.arange(-1, 1, 0.02) / RATE
    turned = [one * np.exp(-2j * np.pi * hertz * delay) for delay in delays]
    errors = [np.sum(np.abs(other - each) ** 2) for each in turned]
    return float(10 * np.log10(min(errors) / np.sum(np.abs(other) ** 2)))


@pytest.mark.parametrize("kind", ["SheetSound", "SongSound"])
def test_chunks_join_without_a_seam(blank: Page, kind: str) -> None:
    conversion = converted(DEMO_SONGS / "ferry_waltz.mid")
    whole = played(blank, conversion, kind, [RATE])
    parts = played(blank, conversion, kind, [1000, 22_051, 1, 21_048])
    assert np.abs(whole).max() > 0.01
    np.testing.assert_allclose(parts, whole, atol=1e-6)


def test_the_song_is_in_tune(blank: Page, tmp_path: Path) -> None:
    # A4 = 440 Hz (ISO 16:1975); A5 an octave above.
    song = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    song.tracks.append(track)
    for pitch in (69, 81):
        track.append(mido.Message("note_on", note=pitch, velocity=100, time=0))
        track.append(mido.Message("note_off", note=pitch, velocity=0, time=960))
    path = tmp_path / "a.mid"
    song.save(path)
    conversion = converted(path)
    beat = conversion.grid.step_length.seconds / float(conversion.grid.step_beats)
    heard = played(blank, conversion, "SongSound", [int(4 * beat * RATE)])
    # Half a hertz of tolerance is less than 2 cents.
    assert loudest_hertz(heard, 0.1 * beat) == pytest.approx(440, abs=0.5)
    assert loudest_hertz(heard, 2.1 * beat) == pytest.approx(880, abs=0.5)
    # At another tempo tones come earlier or later, and keep their pitch: the routine's, which an
    # engine's table has to within a hundredth of a semitone.
    for kind, tempo, near in (
        ("SongSound", 1.5, 0.5),
        ("SheetSound", 1.5, 2),
        ("SheetSound", 0.5, 2),
    ):
        heard = played(blank, conversion, kind, [int(4 * beat / tempo * RATE)], tempo)
        for start, hertz in ((0.1, 440.0), (2.1, 880.0)):
            assert loudest_hertz(heard, start * beat / tempo) == pytest.approx(hertz, abs=near)


def loudest_hertz(sound: NDArray[np.float64], start: float) -> float:
    """Return the strongest frequency in a third of a second from a time on, to an eighth of a hertz."""
    part = sound[int(start * RATE) :][: RATE // 3]
    spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), 8 * RATE))
    return float(np.argmax(spectrum)) / 8
