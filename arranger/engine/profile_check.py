"""What the schema alone can't say of a profile, and messages that a person can act on.

Each fault names the key it is about as a path (``("drum", 2, "name")``), so that `line_of` can find
its line in the TOML text.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any, NamedTuple

from arranger.engine.pitch_table import in_tune, nearest_setting
from arranger.engine.profile import RESERVED_NAMES, TABLES, Port, Profile
from arranger.errors import did_you_mean
from arranger.pitch import parse_pitch, pitch_name

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping

    from pydantic import ValidationError

    from arranger.engine.model import Pitch
    from arranger.engine.profile import DrumPart

MOST_STEP_LENGTHS = 4096
MOST_STEP_SECONDS = 10
FASTEST_DRUM_HZ = 200_000
"""Nobody hears faster changes; every one of them takes memory."""
MOST_DRUM_SETTING = 1_000_000_000
"""Exports give it 32 bits."""

Path = tuple[str | int, ...]


class ProfileFault(NamedTuple):
    """One thing wrong with a profile."""

    path: Path
    what: str
    remedy: str


def schema_faults(error: ValidationError) -> list[ProfileFault]:
    """Return what the schema refused, unknown keys first: a misspelt key causes the others."""
    found = [_from_schema(dict(item)) for item in error.errors()]
    return sorted(found, key=lambda fault: not fault.what.startswith("unknown key"))


def _from_schema(item: dict[str, Any]) -> ProfileFault:
    path: Path = item["loc"]
    key = ".".join(str(part) for part in path if isinstance(part, str)) or "the file"
    if item["type"] == "extra_forbidden":
        known = known_keys(path[:-1])
        hint = did_you_mean(str(path[-1]), known, f"known here: {', '.join(known)}")
        return ProfileFault(path, f"unknown key {path[-1]!r}", hint)
    if item["type"] == "missing":
        return ProfileFault(
            path, f"{key} is missing", "add it; arranger engines new shows each key"
        )
    shown = repr(item["input"])
    return ProfileFault(
        path,
        f"{key} can't be {shown if len(shown) < 40 else shown[:36] + ' ...'}",
        item["msg"][0].lower() + item["msg"][1:],
    )


def known_keys(path: Path) -> list[str]:
    """Return the keys that the schema knows in the table at a path."""
    tables = [TABLES[part] for part in path if isinstance(part, str) and part in TABLES]
    return list((tables or [Profile])[-1]._fields)


def profile_faults(profile: Profile) -> Iterator[ProfileFault]:
    """Yield what contradicts itself in a profile that fits the schema."""
    if profile.name in RESERVED_NAMES:
        yield ProfileFault(
            ("name",), f"an engine can't be called {profile.name!r}", "choose another name"
        )
    yield from _loop_faults(profile)
    yield from _step_faults(profile)
    yield from _drum_faults(profile)
    if profile.memory.code_bytes >= profile.memory.total_bytes:
        yield ProfileFault(
            ("memory", "code_bytes"),
            "the player leaves no memory for the song",
            "total_bytes counts player and song together",
        )
    yield from _pitch_faults(profile)
    yield from _port_faults(profile)


def _port_faults(profile: Profile) -> Iterator[ProfileFault]:
    port = profile.port
    if port != Port() and not profile.player:
        yield ProfileFault(
            ("port",),
            "only this project's Z80 player can be told a port",
            'take [port] out, or begin with arranger engines new --like twin-phase (player = "z80")',
        )
    if port.idle & port.speaker_bit:
        yield ProfileFault(
            ("port", "idle"),
            f"{port.idle} sets bit {port.speaker}, which is the speaker's",
            f"idle = {port.idle - port.speaker_bit}",
        )


def _loop_faults(profile: Profile) -> Iterator[ProfileFault]:
    loop = profile.loop
    if profile.method != "alternate" and not loop.voice1_write < loop.second_write < loop.cycles:
        yield ProfileFault(
            ("loop", "voice2_write"),
            "the pin must show voice 1 first, then voice 2, within one pass",
            f"0 <= voice1_write < voice2_write < {loop.cycles}",
        )


def _step_faults(profile: Profile) -> Iterator[ProfileFault]:
    steps = profile.steps
    if profile.method == "alternate" and steps.overhead_cycles:
        yield ProfileFault(
            ("steps", "overhead_cycles"),
            "a timer that alternates has no overhead between steps",
            "leave it out",
        )
    if steps.counts:
        if len(set(steps.counts)) != len(steps.counts):
            yield ProfileFault(
                ("steps", "counts"), "a count stands twice in the list", "take one out"
            )
    elif steps.first > steps.last:
        yield ProfileFault(("steps", "last"), "the list of step lengths is empty", "last >= first")
    elif steps.last - steps.first >= MOST_STEP_LENGTHS:
        yield ProfileFault(
            ("steps", "last"),
            f"{steps.last - steps.first + 1} step lengths are too many",
            f"at most {MOST_STEP_LENGTHS}: raise passes_per_count, or list the counts you want",
        )
    longest = max(steps.counts) if steps.counts else steps.last
    cycles = longest * steps.passes_per_count * profile.loop.cycles + steps.overhead_cycles
    if cycles > MOST_STEP_SECONDS * profile.clock_hz:
        yield ProfileFault(
            ("steps", "counts" if steps.counts else "last"),
            f"a step of {cycles / profile.clock_hz:,.0f} s is too long",
            f"at most {MOST_STEP_SECONDS} s; check clock_hz and loop.cycles too",
        )


def _drum_faults(profile: Profile) -> Iterator[ProfileFault]:
    names: set[str] = set()
    keys: dict[int, str] = {}
    for index, drum in enumerate(profile.drum):
        here = ("drum", index)
        if drum.name in names:
            yield ProfileFault(
                (*here, "name"), f"{drum.name!r} is the name of two drums", "rename one"
            )
        names.add(drum.name)
        for key in drum.percussion_keys:
            if key in keys:
                yield ProfileFault(
                    (*here, "percussion_keys"),
                    f"percussion key {key} belongs to {keys[key]!r} already",
                    "each key has one drum",
                )
            keys[key] = drum.name
        for part in drum.parts:
            yield from part_faults(profile, part, here)
    plain = {drum.name for drum in profile.drum if not drum.joins}
    for index, drum in enumerate(profile.drum):
        strange = [name for name in drum.joins if name not in plain]
        if strange or len(drum.joins) == 1 or (drum.joins and drum.percussion_keys):
            yield ProfileFault(
                ("drum", index, "joins"),
                f"{drum.name!r} can't join {', '.join(strange or drum.joins)}",
                "name two other drums or more, and leave its percussion_keys empty",
            )


def part_faults(profile: Profile, part: DrumPart, drum: Path) -> Iterator[ProfileFault]:
    """Yield what is wrong with a part of a drum sound, whose path is ``drum``."""
    here = (*drum, "settings")
    meaning = _drum_settings(profile.method, part.kind)
    alternates = profile.method == "alternate"
    least = 2 if alternates else 1
    if part.kind == "rest":
        if part.settings:
            yield ProfileFault(here, "a rest needs no settings", "settings = []")
    elif (
        len(part.settings) != len(meaning)
        or part.settings[0] < least
        or min(part.settings) < 0
        or (sum(part.settings) > 0xFFFF if alternates else max(part.settings) > MOST_DRUM_SETTING)
    ):
        yield ProfileFault(
            here,
            f"a {part.kind} needs {len(meaning)} setting{'s' * (len(meaning) > 1)}: "
            f"{', '.join(meaning)}",
            f"in clock cycles, the first at least {least}, "
            + ("their sum at most 65535" if alternates else f"none over {MOST_DRUM_SETTING:,}"),
        )
    elif not alternates and part.settings[0] * FASTEST_DRUM_HZ < profile.clock_hz:
        yield ProfileFault(
            here,
            f"{part.settings[0]} cycles between two changes are beyond hearing",
            f"at least {-(-profile.clock_hz // FASTEST_DRUM_HZ)}",
        )


def _drum_settings(method: str, kind: str) -> tuple[str, ...]:
    """Return what the settings of a drum mean."""
    if method == "alternate":
        return (
            ("first divisor", "growth a tick")
            if kind == "kick"
            else ("smallest divisor", "mask of what chance may add")
        )
    return (
        ("first half period", "growth of each next one")
        if kind == "kick"
        else ("cycles between random bits",)
    )


def _pitch_faults(profile: Profile) -> Iterator[ProfileFault]:
    pitch = profile.pitch
    if pitch.table:
        if pitch.lowest or pitch.highest:
            yield ProfileFault(
                ("pitch", "table"),
                "a table and a range of pitches contradict each other",
                "keep the table, or lowest and highest",
            )
        seen: dict[int, str] = {}
        for name, value in pitch.table.items():
            here = ("pitch", "table", name)
            try:
                midi = parse_pitch(name)
            except ValueError as error:
                yield ProfileFault(here, str(error), "correct the name")
                continue
            if midi in seen:
                yield ProfileFault(here, f"{name} and {seen[midi]} are the same pitch", "keep one")
            seen[midi] = name
            if value <= 0:
                yield ProfileFault(here, f"{name} can't be {value}", "give a number above 0")
            elif profile.method != "frequencies" and value != int(value):
                yield ProfileFault(here, f"{name} can't be {value}", "give a whole number")
        return
    if profile.method == "frequencies":
        yield ProfileFault(("pitch",), "the table of frequencies is missing", "add [pitch.table]")
        return
    limits = []
    for key in ("lowest", "highest"):
        try:
            limits.append(parse_pitch(getattr(pitch, key)))
        except ValueError as error:
            yield ProfileFault(("pitch", key), str(error), "give lowest and highest, or a table")
    if len(limits) == 2 and limits[0] > limits[1]:
        yield ProfileFault(
            ("pitch", "highest"), "the highest pitch is below the lowest", "swap them"
        )


def table_faults(profile: Profile, pitches: Mapping[int, Pitch]) -> Iterator[ProfileFault]:
    """Yield the first pitch of the worked-out table that can't be counted, or that none is in tune."""
    largest = 2**profile.pitch.bits - 1
    own = {parse_pitch(name): name for name in profile.pitch.table}
    for midi, entry in pitches.items():
        name = own.get(midi, pitch_name(midi))
        here: Path = ("pitch", "table", name)
        if profile.method != "frequencies" and not 1 <= entry.setting <= largest:
            yield ProfileFault(
                here if own else ("pitch", "lowest"),
                f"{name} needs the setting {entry.setting}, more than {largest}",
                "raise pitch.bits or leave the pitch out",
            )
            return
    if not in_tune(pitches):
        midi, entry = min(pitches.items(), key=lambda item: abs(item[1].cents))
        name = own.get(midi, pitch_name(midi))
        remedy = "check clock_hz and loop.cycles"
        if own and profile.method != "frequencies":
            remedy = f"the nearest setting is {nearest_setting(profile, midi)}; or {remedy}"
        yield ProfileFault(
            ("pitch", "table", name) if own else ("pitch", "highest"),
            f"every pitch would sound as another note; the best, {name}, {entry.cents:+.0f} cents "
            f"off, at {entry.frequency_hz:.1f} Hz",
            remedy,
        )


_TABLE = re.compile(r"\s*\[\s*([^\[\]]+?)\s*\]\s*(#.*)?$")
_ARRAY = re.compile(r"\s*\[\[\s*([^\[\]]+?)\s*\]\]\s*(#.*)?$")
_KEY = re.compile(r"\s*([A-Za-z0-9_\-\"'#. ]+?)\s*=")


def line_of(text: str, path: Path) -> int | None:
    """Return the line (from 1) of a TOML text on which a key stands, or the table it belongs to.

    Looks at headers and keys line by line; a key inside an inline table counts as its table's line.
    """
    best: tuple[int, int] | None = None
    table: Path = ()
    counts: dict[Path, int] = {}
    for number, line in enumerate(text.splitlines(), 1):
        if match := _ARRAY.match(line):
            name = _parts(match[1])
            counts[name] = counts.get(name, -1) + 1
            here = table = (*name, counts[name])
        elif match := _TABLE.match(line):
            here = table = _parts(match[1])
        elif match := _KEY.match(line):
            here = (*table, *_parts(match[1]))
        else:
            continue
        if here == path[: len(here)] and (best is None or len(here) > best[0]):
            best = (len(here), number)
    return None if best is None else best[1]


def _parts(dotted: str) -> Path:
    return tuple(part.strip().strip("\"'") for part in dotted.split("."))
