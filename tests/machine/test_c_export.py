"""Songs and player in C: compiled as C99 and as C++, linked into one program, and run on the host."""

from __future__ import annotations

import json
import re
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import pytest

from arranger.engine import Engine, load_engine, parse_engine
from arranger.engine.profile import DrumPart
from arranger.errors import UsageError
from arranger.machine.c_export import identifier
from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import export, export_files
from arranger.rows import HOLD, REST
from arranger.sound import edges
from tests.sound.sheets import sheet_of
from tests.sound.test_own_engines import HEAD, OWN, TAIL

if TYPE_CHECKING:
    from arranger.sheet.model import Sheet

STRICT = ("-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wshadow", "-Werror")
COMPILERS = {
    "c": ("gcc", "-std=c99", "-pedantic", *STRICT),
    "cpp": ("g++", "-x", "c++", "-std=c++11", "-pedantic", *STRICT),
}

MAIN = """
#include <stdio.h>
#include <stdlib.h>
INCLUDES

static const duet_song *const songs[] = { SONGS };

static void show(void *context, int level)
{
    printf("%d\\n", level + *(int *)context);
}

static int wait(void *context, uint32_t cycle)
{
    if (cycle >= 500000u)
        return 1;
    printf("%lu ", (unsigned long)cycle + (unsigned long)*(int *)context);
    return 0;
}

int main(int arguments, char **words)
{
    const duet_song *song = songs[atoi(words[1])];
    duet_player player;
    uint32_t cycle = 0;
    int level, nothing = 0;
    duet_host host;
    unsigned long edges = arguments > 2 ? strtoul(words[2], 0, 10) : 0;
    if (arguments > 3) {
        uint32_t i;
        for (i = 0; i < song->pitch_count; i++)
            printf("%d %lu\\n", song->pitches[i].midi, (unsigned long)song->pitches[i].millihertz);
        for (i = 0; i < song->drum_count; i++) {
            int part = song->drums[i].first_part, end = part + song->drums[i].parts;
            printf("%lu", (unsigned long)song->drums[i].microseconds);
            for (; part < end; part++)
                printf(" %d %lu %lu %lu", song->parts[part].kind,
                    (unsigned long)song->parts[part].microseconds,
                    (unsigned long)song->parts[part].setting,
                    (unsigned long)song->parts[part].change);
            printf("\\n");
        }
        printf("%lu %lu\\n", (unsigned long)song->steps, (unsigned long)song->step_microseconds);
        return 0;
    }
    duet_start(&player, song);
    if (arguments > 2) {
        while (edges-- && (level = duet_edge(&player, &cycle)) >= 0)
            printf("%lu %d\\n", (unsigned long)cycle, level);
        printf("step %lu\\n", (unsigned long)player.step);
        return 0;
    }
    host.context = &nothing;
    host.pin = show;
    host.clock = wait;
    printf("%d\\n", duet_play(&player, &host));
    return 0;
}
"""

PHASE, COUNTER, TIMER = (load_engine(name) for name in ("twin-phase", "twin-counter", "pc-alternate"))  # fmt: skip
REST_PART, NOISE_PART = DrumPart("rest", (), 5_900), DrumPart("noise", (354,), 17_700)


def parted(engine: Engine) -> Engine:
    """Return an engine whose drums have three parts each."""
    cut = [
        drum._replace(parts=(drum.parts[0]._replace(cycles=11_800), REST_PART, NOISE_PART))
        for drum in engine.drums
    ]
    return replace(engine, drums=tuple(cut))


def steep(engine: Engine) -> Engine:
    """Return an engine of a timer whose falling tones reach the largest divisor."""
    first = engine.drums[0]
    parts = (DrumPart("kick", (2_000, 20_000), 16 * 1243), *first.parts)
    return replace(engine, drums=(first._replace(parts=parts), *engine.drums[1:]))


def at_bit(engine: Engine, speaker: int) -> Engine:
    """Return an engine whose speaker hangs on another bit of its port, which draws other noise."""
    profile = engine.profile
    return replace(engine, profile=profile._replace(port=profile.port._replace(speaker=speaker)))


def busy(engine: Engine, title: str, *, loop_step: int | None = None) -> Sheet:
    """Return a sheet with tones alone and together, held and repeated, every drum, and rests."""
    low, *_, high = sorted(engine.pitches)
    mid = sorted(engine.pitches)[len(engine.pitches) // 2]
    names = [drum.name for drum in engine.drums]
    drums = [part for name in names for part in (name, None)]
    ones, twos = [mid, HOLD, high, low, REST, HOLD, mid, mid], [low, REST, mid, HOLD, HOLD, high]
    steps = len(drums) + 8
    return sheet_of(
        engine,
        [REST, *(ones * steps)[: steps - 1]],
        [REST, *(twos * steps)[: steps - 1]],
        [None] * 4 + drums + [None] * 4,
        title=title,
        loop_step=loop_step,
        length=engine.step_lengths[min(5, len(engine.step_lengths) - 1)].setting,
    )


class Case(NamedTuple):
    """A song of the program."""

    engine: Engine
    sheet: Sheet


def _case(engine: Engine, title: str) -> Case:
    return Case(engine, busy(engine, title))


LOOP = sheet_of(PHASE, [60, 64, 67], [36, REST, 43], ["kick", None, "hat"], loop_step=1, title="A loop")  # fmt: skip
TIMER_LOOP = replace(LOOP, engine=TIMER.name, title="B loop", length=TIMER.step_lengths[0].setting)
CASES = {
    "phase": _case(PHASE, "Phase */ tide \\ 7"),
    "counter": _case(COUNTER, "Counter"),
    "timer": _case(TIMER, "Timer"),
    "parts": _case(parted(PHASE), "Parts"),
    "steep": _case(steep(TIMER), "Steep"),
    "another bit": _case(at_bit(PHASE, 0), "Another bit"),
    "taking": _case(replace(COUNTER, drum_takes_step=True), "Taking"),
    **{
        f"own {method}": _case(parse_engine(HEAD + OWN[method] + TAIL), f"Own {method}")
        for method in OWN
    },
    "silent": Case(PHASE, sheet_of(PHASE, [REST], title="int")),
    "loop": Case(PHASE, LOOP),
    "timer loop": Case(TIMER, TIMER_LOOP),
}


@pytest.fixture(scope="module", params=COMPILERS)
def program(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a program with all songs, each in a file of its own."""
    folder: Path = tmp_path_factory.mktemp("program")
    sources = ["main.c", "duet_player.c"]
    for number, case in enumerate(CASES.values()):
        options = ExportOptions(stem=f"song{number}")
        (folder / f"song{number}.c").write_bytes(export(case.sheet, case.engine, "c", options))
        for name, content in export_files(case.sheet, case.engine, "c", options).items():
            (folder / name).write_bytes(content)
        sources.append(f"song{number}.c")
    includes = "\n".join(f'#include "song{number}.h"' for number in range(len(CASES)))
    names = ", ".join(f"&{identifier(case.sheet.title)}_song" for case in CASES.values())
    text = MAIN.replace("INCLUDES", includes).replace("SONGS", names)
    (folder / "main.c").write_text(text)
    command = [*COMPILERS[request.param], "-O1", *sources, "-o", "program"]
    subprocess.run(command, cwd=folder, check=True)
    return folder / "program"


def said(program: Path, case: str, *words: str) -> list[str]:
    """Return the lines that the program says of a song."""
    command = [program, str([*CASES].index(case)), *words]
    return subprocess.run(command, capture_output=True, text=True, check=True).stdout.splitlines()


def rendered(sheet: Sheet, engine: Engine) -> list[str]:
    """Return the pin's changes as they are heard, a line each."""
    return [
        f"{clock} {level}"
        for clocks, levels in edges(sheet, engine)
        for clock, level in zip(clocks, levels, strict=True)
    ]


@pytest.mark.parametrize("name", [name for name in CASES if "loop" not in name])
def test_the_edges_are_those_of_the_render(program: Path, name: str) -> None:
    engine, sheet = CASES[name]
    expected = rendered(sheet, engine)
    *found, step = said(program, name, "1000000")
    assert found == expected
    assert len(found) > 100 or name == "silent"
    assert step == f"step {sheet.steps}"


@pytest.mark.parametrize("name", ["loop", "timer loop"])
def test_a_loop_goes_round_without_a_seam(program: Path, name: str) -> None:
    engine, sheet = CASES[name]
    rows = (list(row) + 2 * list(row[1:]) for row in (sheet.voice1, sheet.voice2, sheet.drums))
    expected = rendered(sheet_of(engine, *rows, length=sheet.length), engine)[:-4]  # type: ignore[arg-type]
    *found, step = said(program, name, str(len(expected)))
    assert found == expected
    assert step == "step 2"


@pytest.mark.parametrize("name", ["phase", "timer"])
def test_a_clock_and_a_pin_play_it_and_may_stop_it(program: Path, name: str) -> None:
    engine, sheet = CASES[name]
    early = [line for line in rendered(sheet, engine) if int(line.split()[0]) < 500_000]
    assert said(program, name) == [*early, "0", "0"]
    assert said(program, "silent") == ["1"]


@pytest.mark.parametrize("name", ["phase", "timer", "parts", "own counter"])
def test_tables_say_what_the_tones_and_drums_are(program: Path, name: str) -> None:
    engine, sheet = CASES[name]
    values = json.loads(export(sheet, engine, "json", ExportOptions()))
    tones = [
        f"{midi} {round(1000 * pitch.frequency_hz)}"
        for midi, pitch in engine.pitches.items()
        if midi in {step[voice] for step in values["steps"] for voice in ("voice1", "voice2")}
    ]
    length = f"{len(values['steps'])} {round(1e6 * values['step_seconds'])}"
    *found, last = said(program, name, "0", "tables")
    assert found[: len(tones)] == tones
    assert last == length
    kinds = {"kick": 0, "noise": 1, "rest": 2}
    assert len(found) - len(tones) == len(values["drums"])
    for line, drum in zip(found[len(tones) :], values["drums"], strict=True):
        microseconds, *parts = (int(number) for number in line.split())
        assert microseconds == round(1e6 * drum["seconds"])
        assert parts[0::4] == [kinds[part["kind"]] for part in drum["parts"]]
        settings = [(*part["settings"], 0, 0)[:2] for part in drum["parts"]]
        assert [*zip(parts[2::4], parts[3::4], strict=True)] == settings
        assert sum(parts[1::4]) <= microseconds + 1


@pytest.mark.parametrize("name", ["timer", "steep", "own counter"])
def test_parts_of_a_drum_follow_each_other_without_a_gap(name: str) -> None:
    engine, sheet = CASES[name]
    text = export(sheet, engine, "c", ExportOptions()).decode()
    rows = re.findall(r"\{DUET_\w+, (\d+)u, (\d+)u, ", text.split("duet_part ")[1].split("};")[0])
    ends = [0]
    for start, cycles in (map(int, row) for row in rows):
        assert start in (0, ends[-1])
        ends.append(start + cycles)
    assert len(rows) >= len({*sheet.drums} - {None}) + (name == "steep")


def test_no_event_is_longer_than_its_counter_of_16_bits() -> None:
    engine = CASES["own counter"].engine
    sheet = sheet_of(engine, [69, *[HOLD] * (0xFFFF + 4)])
    text = export(sheet, engine, "c", ExportOptions()).decode()
    events = text.split("duet_event ")[1].split("};")[0]
    assert [int(steps) for steps in re.findall(r"\{(\d+)", events)] == [0xFFFF, 5]


def test_the_example_of_the_readme_plays(tmp_path: Path) -> None:
    readme = (Path(__file__).parents[2] / "README.md").read_text()
    (example,) = re.findall(r"```c\n(.*?)```", readme, re.DOTALL)
    engine, sheet = CASES["timer"]
    sheet, options = replace(sheet, title="Pier"), ExportOptions(stem="song")
    files = {"main.c": example.encode(), "song.c": export(sheet, engine, "c", options)}
    for name, content in {**files, **export_files(sheet, engine, "c", options)}.items():
        (tmp_path / name).write_bytes(content)
    strict = ("gcc", "-std=c99", "-pedantic", "-Wall", "-Werror")
    command = [*strict, "main.c", "song.c", "duet_player.c", "-o", "program"]
    subprocess.run(command, cwd=tmp_path, check=True)
    subprocess.run([tmp_path / "program"], check=True)


# What of the routine stands in each song, from the engines' files and `arranger.sound.schedule`.
SCHEDULED = {
    "silent_passes": "9", "noise_bit": "16", "read_passes": "9", "shown_count": "7",
    "shown_before_drum": "5", "shown_before_end": "3", "end_cycles": "434",
}  # fmt: skip
FREE = dict.fromkeys(SCHEDULED, "0") | {"silent_passes": "1", "noise_bit": "16"}


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("silent", {
            "method": "DUET_PHASE", "clock_hz": "3500000u", "step_cycles": "125080u",
            "step_microseconds": "35737u", "steps": "1u", "pass_cycles": "118u",
            "step_passes": "1060u", "voice2_cycles": "59u", "bits": "17", **SCHEDULED,
            "shown": "int_shown", "first_divisor": "0", "loop_event": "DUET_NO_LOOP",
            "event_count": "1u", "events": "int_events", "pitch_count": "0", "pitches": "0",
            "drum_count": "0", "drums": "0", "parts": "0",
        }),
        ("own counter", {
            "method": "DUET_COUNTER", "bits": "16", **FREE, "shown": "0", "first_divisor": "0",
            "voice2_cycles": "40u", "pitch_count": "3", "drum_count": "1",
        }),
        ("another bit", {**SCHEDULED, "noise_bit": "1"}),
        ("timer loop", {
            "method": "DUET_TIMER", **FREE, "first_divisor": "5000", "voice2_cycles": "8u",
            "loop_event": "1u", "event_count": "3u", "pitch_count": "5", "drum_count": "2",
        }),
    ],
)  # fmt: skip
def test_a_song_says_how_its_routine_plays(name: str, expected: dict[str, str]) -> None:
    engine, sheet = CASES[name]
    text = export(sheet, engine, "c", ExportOptions()).decode()
    fields = {field: value for value, field in re.findall(r"^    (.*), /\* (\w+) \*/$", text, re.M)}
    assert {field: fields[field] for field in expected} == expected
    silent = sheet_of(engine, [REST], length=sheet.length)
    text = export(silent, engine, "c", ExportOptions()).decode()
    assert f"{2 * (engine.method == 'alternate')}, /* first_divisor */" in text


def test_tables_have_four_entries_a_line() -> None:
    text = export(LOOP, PHASE, "c", ExportOptions()).decode()
    assert text.split("loop_pitches[5] = ")[1].split("\n\n")[0].splitlines() == [
        "{",
        "    {289u, 65399u, 36}, {433u, 97986u, 43}, {1156u, 261598u, 60}, {1457u, 329713u, 64},",
        "    {1732u, 391944u, 67},",
        "};",
    ]


def test_an_identifier_has_31_letters() -> None:
    assert identifier("q" * 40) == "q" * 31
    assert identifier("q" * 30 + " quay") == "q" * 30


def test_a_source_alone_declares_its_song() -> None:
    engine, sheet = CASES["silent"]
    alone = export(sheet, engine, "c", ExportOptions())
    assert b"extern const duet_song int_song;" in alone
    assert b'#include "duet_player.h"' in alone


def test_a_prefix_parts_songs_of_one_title() -> None:
    engine, sheet = CASES["counter"]
    options = ExportOptions(prefix="quay_", stem="song")
    assert b"const duet_song quay_counter_song = {" in export(sheet, engine, "c", options)
    assert b"quay_counter_song;" in export_files(sheet, engine, "c", options)["song.h"]
    with pytest.raises(UsageError, match="'7-' can't begin a name in C"):
        export(sheet, engine, "c", ExportOptions(prefix="7-"))


def test_a_name_that_cannot_stand_in_a_source_is_not_the_headers() -> None:
    engine, sheet = CASES["counter"]
    options = ExportOptions(stem='K\u00fcste "7" \udcff')
    assert b'#include "counter.h"' in export(sheet, engine, "c", options)
    assert "counter.h" in export_files(sheet, engine, "c", options)
