"""The settings as words: one table that the command line, the sheet's header and files share.

Each row says how a setting is spelled, read and explained. `build_settings` turns words into
`Settings`; `spell` does the reverse and leaves out what is default.
"""

from __future__ import annotations

import re
import shlex
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from arranger.bars import parse_bars, parse_metre
from arranger.errors import ArrangerError, SettingsError, UsageError, did_you_mean
from arranger.settings import (
    BEATS,
    CLOCKS,
    DRUM_AMOUNTS,
    STEP_CHOICES,
    SWINGS,
    TEXTURES,
    GridSettings,
    ReadSettings,
    ReduceSettings,
    Settings,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping
    from fractions import Fraction


MOST_PICKUP = 64


class Option(NamedTuple):
    """One setting as a user writes it."""

    name: str
    """Without dashes: the key in a file; ``--name`` on the command line."""
    stage: str
    """"read", "grid", "reduce", or "" for `Settings` itself."""
    field: str
    parse: Callable[[str], object]
    """Raises ValueError with what was expected."""
    kind: str
    """"one" value, "many" (may be given again) or "flag"."""
    metavar: str
    help: str


def _one_of(*words: str) -> Callable[[str], str]:
    def parse(text: str) -> str:
        if text not in words:
            message = f"is none of {', '.join(words)}"
            raise ValueError(message)
        return text

    return parse


def _number(kind: type[int] | type[float], low: float, high: float) -> Callable[[str], float]:
    what = "a whole number" if kind is int else "a number"

    def parse(text: str) -> float:
        message = f"is not {what} from {low:g} to {high:g}"
        try:
            value = kind(text)
        except ValueError:
            raise ValueError(message) from None
        if not low <= value <= high:
            raise ValueError(message)
        return value

    return parse


def _step(text: str) -> Fraction:
    steps = {str(step): step for step in STEP_CHOICES}
    if text not in steps:
        message = f"is none of the steps {', '.join(steps)} (of a beat)"
        raise ValueError(message)
    return steps[text]


def _pickup(text: str) -> Fraction:
    from fractions import Fraction

    message = f"is not a number of beats from 0 to {MOST_PICKUP}, like 1 or 1/2"
    try:
        beats = Fraction(text)
    except (ValueError, ZeroDivisionError):
        raise ValueError(message) from None
    if not 0 <= beats <= MOST_PICKUP or beats.denominator > MOST_PICKUP:
        raise ValueError(message)
    return beats


def _loop(text: str) -> str:
    if text not in {"auto", "none"} and not re.fullmatch(r"\d{1,6}", text):
        message = "is neither auto, none nor a bar number"
        raise ValueError(message)
    return text


def _transpose(text: str) -> int | str:
    if text == "auto":
        return text
    try:
        return int(_number(int, -60, 60)(text))
    except ValueError:
        message = "is neither auto nor a whole number of semitones from -60 to 60"
        raise ValueError(message) from None


def _cost(text: str) -> tuple[str, float]:
    # Imported here: the terms stand among what needs numpy, and are rarely asked for.
    from arranger.reduce.choose.costs import term_named

    name, _, value = text.partition("=")
    term = term_named(name)
    message = "is not of the form TERM=NUMBER, with a number of 0 or more"
    try:
        weight = float(value)
    except ValueError:
        raise ValueError(message) from None
    if not 0 <= weight < float("inf"):
        raise ValueError(message)
    return term, weight


def _section_texture(text: str) -> tuple[str, str]:
    where, _, name = text.partition("=")
    choices = [texture for texture in TEXTURES if texture != "as-written"]
    if not where or name not in choices:
        message = f"is not of the form WHERE=NAME, with a NAME of {', '.join(choices)}"
        raise ValueError(message)
    return where, name


def _drum(text: str) -> tuple[int, str | None]:
    # Imported here: rarely asked for.
    from arranger.song.general_midi import percussion_key

    what, equals, sound = (word.strip() for word in text.partition("="))
    if not equals or not sound:
        message = "is not of the form WHAT=SOUND or WHAT=off"
        raise ValueError(message)
    return percussion_key(what), None if sound.lower() == "off" else sound.lower()


_COUNT = _number(int, 1, 2**40)

OPTIONS: tuple[Option, ...] = (
    Option("engine", "", "engine", str, "one", "NAME", "Engine to play it: a name or a TOML file."),
    Option("no-sustain", "read", "sustain", str, "flag", "", "Ignore the sustain pedal."),
    Option(
        "pattern", "read", "pattern", _COUNT, "one", "N",
        "Which pattern of a format 2 file; all in a row if not given.",
    ),
    Option(
        "drum-channel", "read", "drum_channels", _number(int, 1, 16), "many", "CHANNEL",
        "Channel (1-16) that plays drums; may be given again.",
    ),
    Option("max-file-bytes", "read", "max_bytes", _COUNT, "one", "N", "Largest file to read."),
    Option("max-notes", "read", "max_notes", _COUNT, "one", "N", "Most notes to read."),
    Option("max-tracks", "read", "max_tracks", _COUNT, "one", "N", "Most tracks to read."),
    Option("max-beats", "read", "max_beats", _COUNT, "one", "N", "Longest song to read, in beats."),
    Option(
        "score-seconds", "read", "score_seconds", _number(float, 0.1, 1e6), "one", "N",
        "Longest time that reading a score may take.",
    ),
    Option(
        "score-megabytes", "read", "score_megabytes", _number(int, 50, 1e6), "one", "N",
        "Most memory that reading a score may take.",
    ),
    Option("step", "grid", "step", _step, "one", "SHARE", "Step as a share of a beat, like 1/4."),
    Option(
        "tempo", "grid", "tempo", _number(float, 1, 1000), "one", "BPM",
        "Beats a minute to play at; also helps to find the beat.",
    ),
    Option(
        "beat", "grid", "beat", _one_of(*BEATS), "one", "HOW",
        "auto, file (trust the file's beats) or track (find them).",
    ),
    Option(
        "first-beat", "grid", "first_beat", _number(float, 0, 1e6), "one", "SECONDS",
        "Where the first downbeat is; also helps to find the beat.",
    ),
    Option(
        "metre", "grid", "metre", parse_metre, "one", "N/N",
        "Metre of all bars, like 3/4 or 6/8; where they begin is heard.",
    ),
    Option(
        "pickup", "grid", "pickup", _pickup, "one", "BEATS",
        "Quarter notes from the first note to the first bar line, like 1 or 1/2; 0: it is a downbeat.",
    ),
    Option("swing", "grid", "swing", _one_of(*SWINGS), "one", "HOW", "auto, play or straighten."),
    Option(
        "clock", "grid", "clock", _one_of(*CLOCKS), "one", "HOW",
        "beat: one tempo throughout; clock: slower passages get longer tones.",
    ),
    Option("bars", "grid", "bars", parse_bars, "one", "A-B", "Convert only these bars."),
    Option("loop", "grid", "loop", _loop, "one", "BAR", "Bar to go back to, auto (by marks, or where the end leads back) or none."),
    Option("max-steps", "grid", "max_steps", _COUNT, "one", "N", "Most steps the sheet may have."),
    Option("tune", "reduce", "tune", str, "one", "TRACK", "Track of the tune: number or name; '*horn*' is the likeliest of several."),
    Option("bass", "reduce", "bass", str, "one", "TRACK", "Track of the bass: number or name; '*low*' is the likeliest of several."),
    Option(
        "mute", "reduce", "mute", str, "many", "TRACK",
        "Track, or all tracks of a name ('*string*' says that all are meant), to leave out; may be given "
        "again.",
    ),
    Option(
        "transpose", "reduce", "transpose", _transpose, "one", "N",
        "Semitones to move all by, or auto for the best key of the engine.",
    ),
    Option(
        "texture", "reduce", "texture", _one_of(*TEXTURES), "one", "NAME",
        f"What the two voices play: {', '.join(TEXTURES)}. auto: chords by turns (broken-chord) in "
        "passages made of chords, else two lines (tune-and-bass).",
    ),
    Option(
        "section-texture", "reduce", "section_textures", _section_texture, "many", "WHERE=NAME",
        "Texture of a section (A=broken-chord) or of bars (9-16=tune-and-bass); may be given again.",
    ),
    Option(
        "drums", "reduce", "drums", _one_of(*DRUM_AMOUNTS), "one", "AMOUNT", "none, light (what carries the metre) or full."
    ),
    Option(
        "drum", "reduce", "drum_sounds", _drum, "many", "WHAT=SOUND",
        "Drum sound for a percussion key or General MIDI drum (cowbell=block), or off; may be given "
        "again.",
    ),
    Option(
        "cost", "reduce", "costs", _cost, "many", "TERM=N",
        "Weigh a term of the cost table differently; may be given again.",
    ),
    Option("max-bytes", "reduce", "max_bytes", _COUNT, "one", "N", "Most bytes the song may take."),
)  # fmt: skip
"""In the order in which ``--help`` shows them and `spell` writes them."""

_BY_NAME = {option.name: option for option in OPTIONS}
_STAGES = {"read": ReadSettings, "grid": GridSettings, "reduce": ReduceSettings}
_DEFAULTS = Settings()


def build_settings(words: Mapping[str, object], base: Settings | None = None) -> Settings:
    """Return ``base`` (default: the defaults) with some settings changed.

    ``words``: by option name without dashes; values are text, numbers, True for flags, lists for
    what may be given again. False and an empty list take a setting back to its default; None
    changes nothing.

    Raises `SettingsError` if a name is unknown (the nearest one is offered) or a value doesn't fit.
    """
    changes: dict[str, dict[str, object]] = {"": {}, **{stage: {} for stage in _STAGES}}
    for name, value in words.items():
        if name not in _BY_NAME:
            remedy = did_you_mean(name, _BY_NAME, "see arranger convert --help")
            raise UsageError(f"there is no setting {name!r}", remedy=remedy)
        option = _BY_NAME[name]
        if value is not None:
            unasked = value is False or value == []
            wanted = _value(_DEFAULTS, option) if unasked else _parsed(option, value)
            changes[option.stage][option.field] = wanted
    start = _DEFAULTS if base is None else base
    stages = {
        stage: replace(getattr(start, stage), **changes[stage])
        for stage in _STAGES
        if changes[stage]
    }
    return replace(start, **changes[""], **stages)  # type: ignore[arg-type]


def spell(settings: Settings) -> list[str]:
    """Return the command-line words of all settings that are not default, in a fixed order.

    >>> spell(build_settings({"step": "1/4", "mute": ["3", "strings"]}))
    ['--step', '1/4', '--mute', '3', '--mute', 'strings']
    """
    words: list[str] = []
    for option in OPTIONS:
        value = _value(settings, option)
        if value != _value(_DEFAULTS, option):
            words.extend(_spelled(option, value))
    return words


def command_line(settings: Settings) -> str:
    """Return `spell` as one shell-quoted line."""
    return shlex.join(spell(settings))


def read_command_line(line: str) -> Settings:
    """Return the settings that `command_line` wrote.

    Raises
    ------
    SettingsError
        If the line names no setting, or a value is missing or doesn't fit.

    >>> command_line(read_command_line("--step 1/4 --mute 'a b' --mute 3 --no-sustain"))
    "--no-sustain --step 1/4 --mute 'a b' --mute 3"
    """
    words: dict[str, object] = {}
    try:
        tokens = iter(shlex.split(line))
    except ValueError as error:
        raise SettingsError(f"settings that can't be read: {error}") from None
    for token in tokens:
        name = token.removeprefix("--")
        option = _BY_NAME.get(name)
        if option is not None and option.kind == "flag":
            words[name] = True
            continue
        value = next(tokens, None)
        if value is None:
            raise SettingsError(f"the setting {token!r} has no value")
        if option is not None and option.kind == "many":
            words[name] = [*words.get(name, []), value]  # type: ignore[misc]
        else:
            words[name] = value
    return build_settings(words)


def as_words(settings: Settings) -> dict[str, str | bool | list[str]]:
    """Return all settings that are not default as `build_settings` takes them.

    >>> as_words(build_settings({"no-sustain": True, "step": "1/4", "mute": ["3", "a b"]}))
    {'no-sustain': True, 'step': '1/4', 'mute': ['3', 'a b']}
    """
    words: dict[str, str | bool | list[str]] = {}
    for option in OPTIONS:
        value = _value(settings, option)
        if value != _value(_DEFAULTS, option):
            said = [word for word in _spelled(option, value) if word != f"--{option.name}"]
            one = said[0] if said else True
            words[option.name] = said if option.kind == "many" else one
    return words


def changed_options(before: Settings, now: Settings) -> Iterator[tuple[str, str, str]]:
    """Yield each option that differs, with what was said and what is; "" where nothing is said.

    >>> list(changed_options(Settings(), build_settings({"mute": ["3", "a b"]})))
    [('mute', '', "3, 'a b'")]
    """
    for option in OPTIONS:
        values = [_value(settings, option) for settings in (before, now)]
        if values[0] != values[1]:
            was, then = (
                "" if value == _value(_DEFAULTS, option) else _worded(option, value)
                for value in values
            )
            yield option.name, was, then


def _worded(option: Option, value: object) -> str:
    words = [word for word in _spelled(option, value) if word != f"--{option.name}"]
    return ", ".join(map(shlex.quote, words)) or "set"


def _value(settings: Settings, option: Option) -> object:
    stage = getattr(settings, option.stage) if option.stage else settings
    return getattr(stage, option.field)


def _parsed(option: Option, value: object) -> object:
    if option.kind == "flag":
        if value is not True:
            raise SettingsError(f"{option.name}: {value!r} is neither true nor false")
        return False
    items = value if isinstance(value, list | tuple) else [value]
    if option.kind == "one" and len(items) != 1:
        raise UsageError(f"{option.name} takes one value, not {len(items)}")
    parsed = []
    for item in items:
        if isinstance(item, bool) or not isinstance(item, str | int | float):
            raise SettingsError(f"{option.name}: {item!r} is neither text nor a number")
        try:
            parsed.append(option.parse(str(item)))
        except ArrangerError as error:
            raise UsageError(f"{option.name}: {error.what}", remedy=error.remedy) from None
        except ValueError as error:
            raise UsageError(
                f"{option.name}: {str(item)!r} {error}", remedy=option.help.rstrip(".")
            ) from None
    if option.field in {"costs", "section_textures"}:
        return dict(parsed)  # type: ignore[arg-type]
    if option.field == "drum_sounds":
        return tuple(sorted(dict(parsed).items()))  # type: ignore[arg-type]
    return tuple(parsed) if option.kind == "many" else parsed[0]


def _spelled(option: Option, value: object) -> Iterator[str]:
    flag = f"--{option.name}"
    if option.kind == "flag":
        yield flag
    elif isinstance(value, dict):
        for key, chosen in value.items():
            yield from (flag, f"{key}={chosen}")
    elif option.field == "drum_sounds":
        for key, sound in value:  # type: ignore[attr-defined]
            yield from (flag, f"{key}={sound or 'off'}")
    elif option.field in {"bars", "metre"}:
        between = "-" if option.field == "bars" else "/"
        yield from (flag, between.join(map(str, value)))  # type: ignore[call-overload]
    elif option.kind == "many":
        for item in value:  # type: ignore[attr-defined]
            yield from (flag, str(item))
    else:
        yield from (flag, str(value))
