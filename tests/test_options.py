"""The table of settings: spelled and read back, refused with a reason."""

from __future__ import annotations

import dataclasses

import pytest
from hypothesis import given
from hypothesis import strategies as st

from arranger.errors import SettingsError
from arranger.options import OPTIONS, Option, build_settings, command_line, read_command_line, spell
from arranger.reduce.choose.costs import TERMS
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

DRAWN: dict[str, st.SearchStrategy[object]] = {
    **{option.name: st.integers(50, 1_000_000) for option in OPTIONS if option.metavar == "N"},
    "engine": st.sampled_from(["twin-phase", "twin-counter", "my engine.toml"]),
    "no-sustain": st.booleans(),
    "pattern": st.integers(1, 9),
    "drum-channel": st.lists(st.integers(1, 16), max_size=3),
    "step": st.sampled_from([str(step) for step in STEP_CHOICES]),
    "tempo": st.floats(1, 1000),
    "first-beat": st.floats(0, 1e6),
    "metre": st.builds("{}/{}".format, st.integers(1, 32), st.sampled_from([1, 2, 4, 8, 16])),
    "pickup": st.fractions(0, 16, max_denominator=12).map(str),
    "bars": st.tuples(st.integers(1, 50), st.integers(0, 50)).map(
        lambda pair: f"{pair[0]}-{sum(pair)}"
    ),
    "loop": st.sampled_from(["auto", "none", "5"]),
    "tune": st.text("abc '\"-é", min_size=1, max_size=8),
    "mute": st.lists(st.text("ab 1", min_size=1, max_size=4), max_size=3),
    "transpose": st.one_of(st.just("auto"), st.integers(-24, 24)),
    "texture": st.sampled_from(TEXTURES),
    "drums": st.sampled_from(DRUM_AMOUNTS),
    "drum": st.lists(
        st.builds(
            "{}={}".format,
            st.integers(0, 127) | st.sampled_from(["cowbell", "Closed Hi-Hat", "OPEN TRIANGLE"]),
            st.sampled_from(["off", "kick", "hat-open", "OFF"]),
        ),
        max_size=4,
    ),
    "cost": st.lists(
        st.builds("{}={!r}".format, st.sampled_from(list(TERMS)), st.floats(0, 1e300)),
        max_size=4,
    ),
    "beat": st.sampled_from(BEATS),
    "swing": st.sampled_from(SWINGS),
    "clock": st.sampled_from(CLOCKS),
    "bass": st.text("abc '\"-é", min_size=1, max_size=8),
    "section-texture": st.lists(
        st.builds("{}={}".format, st.sampled_from(["A", "9-16"]), st.sampled_from(TEXTURES[:-1])),
        max_size=3,
    ),
    "max-bytes": st.integers(1, 60000),
}
WORDS = st.fixed_dictionaries({}, optional=DRAWN)


def read_back(words: list[str]) -> Settings:
    """Read the words of `spell` as the command line would."""
    kinds = {f"--{option.name}": option for option in OPTIONS}
    found: dict[str, object] = {}
    rest = iter(words)
    for word in rest:
        option = kinds[word]
        if option.kind == "flag":
            found[option.name] = True
        elif option.kind == "many":
            found.setdefault(option.name, []).append(next(rest))  # type: ignore[attr-defined]
        else:
            found[option.name] = next(rest)
    return build_settings(found)


@given(WORDS)
def test_spelled_settings_read_back_equal(words: dict[str, object]) -> None:
    settings = build_settings(words)
    assert read_back(spell(settings)) == settings
    assert read_command_line(command_line(settings)) == settings


def test_the_law_above_draws_every_setting() -> None:
    assert set(DRAWN) == {option.name for option in OPTIONS}


def test_defaults_are_spelled_as_nothing() -> None:
    assert spell(Settings()) == []
    assert command_line(Settings()) == ""


def test_every_field_of_every_stage_has_an_option() -> None:
    known = {(option.stage, option.field) for option in OPTIONS}
    for stage, kind in (("read", ReadSettings), ("grid", GridSettings), ("reduce", ReduceSettings)):
        for entry in dataclasses.fields(kind):
            assert (stage, entry.name) in known


@pytest.mark.parametrize(
    ("words", "message"),
    [
        ({"stp": "1/4"}, "there is no setting 'stp'; did you mean 'step'"),
        ({"step": "1/5"}, "'1/5' is none of the steps 1, 1/2"),
        ({"bars": "9-5"}, "the bars 9-5 run backwards; write 5-9"),
        ({"tempo": "fast"}, "not a number from 1 to 1000"),
        ({"tempo": "nan"}, "not a number from 1 to 1000"),
        ({"drum-channel": [17]}, "not a whole number from 1 to 16"),
        ({"transpose": "up"}, "neither auto nor a whole number"),
        ({"cost": ["leap=-1"]}, "TERM=NUMBER"),
        ({"cost": ["foo=1"]}, "no cost called 'foo'; the terms are attack, sustain"),
        ({"cost": ["foo"]}, "no cost called 'foo'; the terms are attack, sustain"),
        ({"cost": ["crosing=1"]}, "no cost called 'crosing'; did you mean 'crossing'"),
        ({"drum": ["cowbell"]}, "'cowbell' is not of the form WHAT=SOUND or WHAT=off"),
        ({"drum": ["=rim"]}, "'' is no drum of General MIDI; give a percussion key from 0 to 127"),
        ({"drum": ["128=rim"]}, "'128' is no drum of General MIDI; give a percussion key"),
        ({"drum": ["cowbel=rim"]}, "'cowbel' is no drum of General MIDI; did you mean 'cowbell'"),
        ({"step": ["1/4", "1/2"]}, "takes one value, not 2"),
        ({"no-sustain": "false"}, "'false' is neither true nor false"),
        ({"mute": [True]}, "True is neither text nor a number"),
        ({"tune": {}}, "{} is neither text nor a number"),
    ],
)
def test_what_does_not_fit_is_refused_by_name(words: dict[str, object], message: str) -> None:
    with pytest.raises(SettingsError, match=message):
        build_settings(words)


def test_a_base_is_changed_only_where_asked() -> None:
    base = build_settings({"step": "1/4", "tune": "2"})
    changed = build_settings({"step": "1/3"}, base)
    assert changed.reduce == base.reduce
    assert str(changed.grid.step) == "1/3"


@pytest.mark.parametrize("option", OPTIONS, ids=lambda option: option.name)
@pytest.mark.parametrize("unasked", [False, []])
def test_false_and_an_empty_list_take_any_setting_back(option: Option, unasked: object) -> None:
    given = {
        "one": {"step": "1/4", "bars": "2-3", "transpose": 1, "beat": "track", "swing": "play",
                "clock": "clock", "metre": "3/4", "texture": "two-highest", "drums": "none", "score-megabytes": "77"}.get(option.name, "7"),
        "many": {"cost": "leap=1", "section-texture": "A=two-highest", "drum": "56=rim"}.get(option.name, "7"),
        "flag": True,
    }[option.kind]  # fmt: skip
    asked = build_settings({option.name: given})
    assert asked != Settings()
    assert build_settings({option.name: unasked}, asked) == Settings()


def test_none_changes_nothing() -> None:
    asked = build_settings({"no-sustain": True, "mute": ["a"], "step": "1/4"})
    assert build_settings({"no-sustain": None, "mute": None, "step": None}, asked) == asked


def test_drums_are_told_by_key_or_name_and_the_last_word_counts() -> None:
    """General MIDI Level 1 percussion map: 42 Closed Hi-Hat, 56 Cowbell."""
    asked = build_settings({"drum": ["Cowbell = rim", "56=BLOCK", "closed hi-hat=off"]})
    assert asked.reduce.drum_sounds == ((42, None), (56, "block"))
    assert command_line(asked) == "--drum 42=off --drum 56=block"
    assert hash(asked.reduce.drum_sounds) == hash(((42, None), (56, "block")))
