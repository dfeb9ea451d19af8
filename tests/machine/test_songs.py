"""One player with several songs, drum sounds by themselves, and interrupts left on: emulated."""

from __future__ import annotations

import shutil
import subprocess
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from arranger.engine import load_engine, parse_engine
from arranger.engine.load import builtin_text
from arranger.errors import SettingsError, UsageError
from arranger.machine import pack
from arranger.machine.assembler import assemble
from arranger.machine.export_options import ExportOptions
from arranger.machine.exporters import export_many
from arranger.machine.player import ALL_ENTRIES, Build, Image, _parts, build, source
from arranger.machine.song_source import player_song
from arranger.rows import HOLD, REST
from arranger.sound.schedule import DRUM_PART_GAP_PASSES, drum_flips
from arranger.sound.signal import edges
from tests.machine.alone import binary
from tests.machine.z80_machine import INTERRUPT, Call, Computer
from tests.sound.sheets import sheet_of

if TYPE_CHECKING:
    from pathlib import Path

    from arranger.engine.model import Engine
    from arranger.sheet.model import Sheet

ENGINES = [load_engine("twin-phase"), load_engine("twin-counter")]
each_engine = pytest.mark.parametrize("engine", ENGINES, ids=lambda engine: engine.name)
PASS = 118


def two_songs(engine: Engine) -> tuple[Sheet, Sheet]:
    """Return a song with drums that ends, and one without that goes round, in other steps."""
    title = sheet_of(
        engine,
        [60, HOLD, 62, REST, 60, HOLD, 62, REST],
        [48, HOLD, HOLD, 50, 48, HOLD, HOLD, 50],
        ["kick", None, "snare-hat", None] * 2,
        title="Slipway",
    )
    level = sheet_of(
        engine,
        [67, 65, HOLD, 64, 72, HOLD, REST, 71],
        [43, HOLD, 45, HOLD, 43, HOLD, HOLD, 47],
        length=engine.step_lengths[7].setting,
        title="Net loft",
        loop_step=4,
    )
    return title, level


def changes(call: Call) -> list[tuple[int, int]]:
    """Return the pin's changes, counted from the first of them."""
    cycles, levels = call.changes(0)
    return [(cycle - cycles[0], level) for cycle, level in zip(cycles, levels, strict=True)]


def rendered(sheet: Sheet, engine: Engine) -> list[tuple[int, int]]:
    blocks = [*edges(sheet, engine)]
    cycles = np.concatenate([cycles for cycles, _ in blocks])
    levels = np.concatenate([levels for _, levels in blocks])
    return [*zip((cycles - cycles[0]).tolist(), levels.tolist(), strict=True)]


def computer_with(*images: Image) -> Computer:
    computer = Computer(images[0].origin, images[0].content)
    for image in images[1:]:
        computer.machine.set_memory_block(image.origin, image.content)
    return computer


def choose(computer: Computer, player: Image, number: int) -> None:
    computer.machine.a = number
    assert computer.call(player.entry_points["choose"]).returned


def steps_of(computer: Computer, image: Image, count: int, entry: str = "step") -> list[object]:
    """Call for steps; return what each did."""
    found: list[object] = []
    for _ in range(count):
        call = computer.call(image.entry_points[entry])
        assert call.returned
        found.append((call.cycles, call.changes(0), computer.machine.a))
    return found


@each_engine
@pytest.mark.parametrize("apart", [False, True])
def test_songs_are_chosen(engine: Engine, apart: bool) -> None:
    """Each sounds as if it were alone, in any order, also where songs lie apart from the player."""
    songs = two_songs(engine)
    if apart:
        player = build(songs, engine, Build(0x9000, part="player"))
        data = build(songs, engine, Build(0xC000, part="songs"))
        assert data.code_bytes == 0
        computer = computer_with(player, data)
        where = player.entry_points["list"]
        computer.machine.memory[where : where + 2] = data.entry_points["songs"].to_bytes(
            2, "little"
        )
    else:
        player = build(songs, engine, Build(0x9000))
        computer = computer_with(player)
        assert changes(computer.call(player.entry_points["start"])) == rendered(songs[0], engine)
    alone = binary(songs[1], engine, 0x9000)
    expected = steps_of(computer_with(alone), alone, 13)
    for number in (1, 0, 0, 1):
        choose(computer, player, number)
        if number == 0:
            call = computer.call(player.entry_points["start"])
            assert computer.machine.a == 2
            assert changes(call) == rendered(songs[0], engine)
        else:
            assert steps_of(computer, player, 13) == expected


@pytest.mark.parametrize("count", [1, 2])
def test_a_source_of_several_songs_says_which_is_which(count: int) -> None:
    songs = two_songs(ENGINES[0])[:count]
    text = source(songs, ENGINES[0], Build()).splitlines()
    assert text[0] == "; " + "; ".join(song.title for song in songs)
    assert [text.count(f"; {song.title}") for song in songs] == [1] * count


@each_engine
def test_a_source_says_whether_its_songs_end(engine: Engine) -> None:
    ends, round_ = two_songs(engine)
    for songs, said in (
        ([ends, ends], "to play (it ends by itself; any key stops it)"),
        ([round_], "to play (it goes round; any key stops it)"),
        ([ends, round_], "to play (any key stops it)"),
    ):
        assert said in source(songs, engine, Build())


@pytest.mark.parametrize(
    ("entries", "more"),
    [
        (("start",), set[str]()),
        (("step",), {"silence", "held", "calls"}),
        (("stop", "start"), {"silence"}),
        (("step", "start"), {"turns", "silence", "held", "calls"}),
        (("open",), {"step", "silence", "held", "calls"}),
        (("start", "open"), {"step", "turns", "silence", "held", "calls"}),
    ],
)
def test_what_ways_in_need_of_the_player(entries: tuple[str, ...], more: set[str]) -> None:
    """Without drums, keys and a loop."""
    port = ENGINES[0].profile.port
    deaf = replace(ENGINES[0], profile=ENGINES[0].profile._replace(port=port._replace(key_mask=0)))
    song = player_song(sheet_of(deaf, [60]), deaf)
    assert _parts(deaf, [song], Build(entries=entries)) == {*entries, *more}
    assert "choose" in _parts(deaf, [song, song], Build(entries=entries))
    effects = _parts(deaf, [song], Build(entries=entries, effects=("kick",)))
    assert effects == {*entries, *more, "drums", "effects", "held", "calls"}


@each_engine
def test_a_player_by_itself_has_room_for_any_song_and_counts_for_none(engine: Engine) -> None:
    """10 words for itself, 16 for phrases in phrases, 16 for the routine of interrupts."""
    for entries, words in (("start",), 26), (("open",), 42):
        wanted = Build(entries=entries, part="player")
        lines = source(two_songs(engine), engine, wanted).splitlines()
        assert lines[-1] == "places:"
        assert lines[-words - 1 : -1] == ["        defw    0"] * words
        assert (
            lines[-words - 2] == "; where phrases were begun, and what the voices have counted to"
        )
        values = dict(line.partition(";")[0].split(": ") for line in lines if "equ " in line)
        found = {name: int(value.split()[1]) for name, value in values.items()}
        assert found == {
            "port": 254, "speaker": 16, "idle": 0, "keys": 254, "nokeys": 224,
            "chunks": 1, "rounds": 16, "kinds": 2,
            "resting": 256 if engine.method == "counter" else 0,
            "song": 0, "again": 0, "phrases": 4, "tones": 0, "drums": 8, "songs": 0,
        }  # fmt: skip
    long = replace(two_songs(engine)[0], title="é" + "x" * 200)
    assert source([long], engine, Build()).splitlines()[0] == "; \\xe9" + "x" * 96


@each_engine
def test_one_player_is_smaller_than_two_and_leaves_out_what_no_song_needs(engine: Engine) -> None:
    title, level = two_songs(engine)
    both = build([title, level], engine, Build())
    apart = [binary(song, engine) for song in (title, level)]
    assert both.code_bytes - apart[0].code_bytes < 110
    assert len(both.content) < sum(len(image.content) for image in apart) - 350
    plain = build([level, level], engine, Build(entries=("start",)))
    assert plain.code_bytes < both.code_bytes - 200


@each_engine
@pytest.mark.parametrize("assembler", ["z80asm", "pasmo"])
@pytest.mark.parametrize("part", ["", "player", "songs"])
def test_common_assemblers_give_the_same_bytes(
    engine: Engine, assembler: str, part: str, tmp_path: Path
) -> None:
    command = shutil.which(assembler)
    if command is None:
        pytest.skip(f"{assembler} is not installed")
    wanted = Build(0xA000, ALL_ENTRIES, part, ("kick", "snare-hat"), "quay_")
    text, target = tmp_path / "songs.asm", tmp_path / "songs.bin"
    text.write_text(source(two_songs(engine), engine, wanted), encoding="ascii")
    call = [command, "-o", str(target), str(text)]
    if assembler == "pasmo":
        call = [command, str(text), str(target)]
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert target.read_bytes() == build(two_songs(engine), engine, wanted).content


def drum_alone(name: str, engine: Engine) -> list[tuple[int, int]]:
    """Return what a drum sound does to the pin by itself, from its first flip on."""
    drum = next(drum for drum in engine.drums if drum.name == name)
    parts = [(part, -(-part.cycles // PASS) * PASS) for part in drum.parts]
    gap = DRUM_PART_GAP_PASSES * PASS
    burst = drum_flips(parts, gap, engine.profile.port.speaker_bit)
    level, found = 0, []
    for cycle, now in zip(burst.cycles.tolist(), burst.levels.tolist(), strict=True):
        if now != level:
            found.append((cycle, now))
        level = now
    return [(cycle - found[0][0], now) for cycle, now in found]


SHOW = """
        org     24576
show:   ld      a,5
        ld      (border),a      ; the border's colour
        ld      a,0
        call    choose
        call    start           ; the title's song, to its end
        ld      a,1
        call    choose
measure: ld     b,4
menu:   push    bc
        call    step            ; the menu's, step by step
        pop     bc
        or      a
        jr      nz,done         ; a key
        dec     b
        jr      nz,menu
        ld      a,1
        call    effect          ; after each fourth step a drum sound
        jr      measure
done:   call    stop
        ret
"""


@each_engine
def test_a_program_of_your_own(engine: Engine) -> None:
    """It plays a song, then a menu with another one and a drum sound, until a key comes."""
    songs = two_songs(engine)
    music = build(songs, engine, Build(effects=("hat", "kick-snare")))
    names = "".join(f"{name}: equ {at}\n" for name, at in music.entry_points.items())
    show = assemble(names + SHOW)
    computer = computer_with(music)
    computer.machine.set_memory_block(show.origin, show.content)
    key = (songs[0].steps * songs[0].length + 12 * songs[1].length) * PASS
    computer.key_down = key, key + 350_000
    whole = computer.call(show.symbols["show"])
    assert whole.returned
    assert set((whole.values & 0b101111).tolist()) == {5}
    assert whole.cycles < key + 100_000
    # The same calls one by one: each is in the whole as it is by itself.
    computer = computer_with(music)
    computer.machine.memory[music.entry_points["border"]] = 5
    menu = [("step", 0)] * 4 + [("effect", 1)]
    at = 0
    for entry, number in [("choose", 0), ("start", 0), ("choose", 1), *menu, *menu]:
        computer.machine.a = number
        call = computer.call(music.entry_points[entry])
        writes = slice(at, at + len(call.values))
        assert (whole.values[writes] == call.values).all(), entry
        assert (np.diff(whole.write_cycles[writes]) == np.diff(call.write_cycles)).all(), entry
        at += len(call.values)
        if entry == "start":
            assert changes(call) == rendered(songs[0], engine)
        if entry == "effect":
            sound = drum_alone("kick-snare", engine)
            assert changes(call)[: len(sound)] == sound
    assert len(whole.values) > at
    assert whole.values[-1] == 5


@each_engine
@pytest.mark.parametrize("name", ["kick", "kick-snare", "hat"])
def test_a_drum_sound_by_itself(engine: Engine, name: str) -> None:
    """Of one part and of two; the piece goes on as if nothing had been."""
    song = two_songs(engine)[0]
    music = build([song], engine, Build(effects=("snare", "kick", "kick-snare", "hat")))
    computer = computer_with(music)
    computer.machine.ix, computer.machine.iy = 0x1234, 0x5678
    computer.machine.iff1 = computer.machine.iff2 = 1
    plain = steps_of(computer, music, 8)
    computer.call(music.entry_points["stop"])
    numbers = {"snare": 0, "kick": 1, "kick-snare": 2, "hat": 4}
    played = steps_of(computer, music, 3)
    before = dict(computer.registers())
    for _ in range(2):
        computer.machine.a = numbers[name]
        call = computer.call(music.entry_points["effect"])
        assert call.returned
        assert computer.machine.a == 0
        assert dict(computer.registers()) == before
        sound = drum_alone(name, engine)
        assert changes(call)[: len(sound)] == sound
        assert call.values[-1] & 16 == 0
    assert played + steps_of(computer, music, 5) == plain
    # A key ends it, and the piece.
    computer.key_down = 0, 350_000
    computer.machine.a = numbers["snare"]
    computer.call(music.entry_points["effect"])
    assert computer.machine.a == 1
    computer.key_down = 0, 0
    assert steps_of(computer, music, 8) == plain


HANDLER = """
        org     56
        push    af
        push    hl
        push    bc
        push    de
        ld      hl,(ticks)
        inc     hl
        ld      (ticks),hl
        pop     de
        pop     bc
        pop     hl
        pop     af
        ei
        ret
ticks:  defw    0
"""


@each_engine
def test_a_step_with_interrupts_left_on(engine: Engine) -> None:
    """Each interrupt makes what follows later by what it takes itself, and nothing else."""
    songs = two_songs(engine)
    music = build(songs, engine, Build(entries=ALL_ENTRIES))
    handler = assemble(HANDLER)
    takes = 13 + 4 * 11 + 16 + 6 + 16 + 4 * 10 + 4 + 10
    longest = 0
    for number in (0, 1):
        quiet, busy = (computer_with(music) for _ in range(2))
        for computer in (quiet, busy):
            computer.machine.set_memory_block(INTERRUPT, handler.content)
            computer.machine.int_mode = 1
            choose(computer, music, number)
        came = 0
        for _ in range(40):
            expected = quiet.call(music.entry_points["step"])
            busy.machine.iff1 = busy.machine.iff2 = 1
            busy.interrupts = []
            call = busy.call(music.entry_points["open"])
            assert busy.machine.a == quiet.machine.a
            assert busy.machine.iff1 == 1
            late = takes * np.searchsorted(busy.interrupts, call.write_cycles)
            asked = expected.write_cycles[0] - call.write_cycles[0] + late[0]
            assert (call.write_cycles - late + asked == expected.write_cycles).all()
            assert (call.values == expected.values).all()
            gaps = np.diff(call.write_cycles) - np.diff(expected.write_cycles)
            longest = max(longest, int(gaps.max()))
            came += len(busy.interrupts)
        ticks = handler.symbols["ticks"]
        assert int.from_bytes(busy.machine.memory[ticks : ticks + 2], "little") == came > 10
    assert longest == takes
    # Where they are off they stay off.
    busy.machine.iff1 = busy.machine.iff2 = 0
    busy.interrupts = []
    busy.call(music.entry_points["open"])
    assert busy.interrupts == []
    assert busy.machine.iff1 == 0


@each_engine
def test_open_leaves_the_interrupts_room_on_its_stack(engine: Engine) -> None:
    """32 bytes: below them nothing is written, whatever the player does."""
    song = two_songs(engine)[0]
    music = build([song], engine, Build(entries=ALL_ENTRIES))
    computer = computer_with(music)
    first = music.symbols["places"] - 2 * pack(song, engine).depth - 32
    computer.machine.memory[first : first + 32] = b"\xaa" * 32
    steps_of(computer, music, 16, "open")
    assert bytes(computer.machine.memory[first : first + 32]) == b"\xaa" * 32


def test_refusals() -> None:
    phase = ENGINES[0]
    song = two_songs(phase)[0]
    for wanted, error, said in (
        (Build(part="drums"), UsageError, "no part 'drums'; choose of player, songs"),
        (Build(effects=("kik",)), SettingsError, "has no drum sound 'kik'; did you mean 'kick'"),
        (
            Build(entries=("play",)),
            UsageError,
            "no entry 'play'; choose of start, step, stop, open",
        ),
    ):
        with pytest.raises(error, match=said):
            build([song], phase, wanted)
    with pytest.raises(UsageError, match="chooses of 128 songs"):
        build([song] * 129, phase, Build())
    with pytest.raises(UsageError, match="json for twin-phase takes one sheet"):
        export_many([song, song], phase, "json", ExportOptions())
    with pytest.raises(UsageError, match="takes one sheet"):
        export_many([song, song], load_engine("pc-alternate"), "binary", ExportOptions())
    endless = builtin_text("twin-phase").split("[[drum]]")[0] + (
        '[[drum]]\nname = "hum"\nkind = "noise"\npercussion_keys = []\nweight = 1\nsettings = [118]\n'
    )
    engine = parse_engine(endless)
    with pytest.raises(SettingsError, match="hum has no length"):
        build([sheet_of(engine, [60])], engine, Build(effects=("hum",)))
