"""``[export]`` of an engine's file: what is refused, with its line, and the example that is written."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from arranger.engine import parse_engine
from arranger.engine.create import new_engine
from arranger.errors import EngineError
from tests.engine.test_refusals import GOOD
from tests.test_documents import blocks

if TYPE_CHECKING:
    from pathlib import Path

STEP = 'step = ["voice1", "voice2", "drum"]'
HEAD = f"{GOOD}[export]\n"
LINE = HEAD.count("\n")
"""The line of ``[export]``; what is written below begins with the next."""


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("bits = 8", "line LINE: export needs a record step, or a record event, not both"),
        (f'{STEP}\nevent = ["length", "voice1", "voice2", "drum"]', "line 2: export needs a record step"),
        ('step = ["voice1"]', "line 1: no field tells voice2"),
        ('event = ["voice1", "voice2", "drum"]', "line 1: no field tells how many steps"),
        (f"{STEP}\npattern_steps = 4", "line 2: there are no patterns without an order list"),
        (f'{STEP}\norder = ["last"]', "line 2: no field tells the pattern"),
        ('step = ["voice1", "voice3"]', "line 1: step can't tell 'voice3' .and 2 more.; did you mean 'voice"),
        ('step = ["voice1", "voice2", "length"]', "line 1: step can't tell 'length' .and 1 more.; known here: count, drum"),
        (f'{STEP}\nheader = ["voice1"]', "line 2: header can't tell 'voice1'"),
        (f'{STEP}\nheader = [{{ value = "loop", bit = 3 }}]', "line 2: unknown key 'bit'; did you mean 'bits'"),
        (f"{STEP}\nheadr = [1]", "line 2: unknown key 'headr'; did you mean 'header'"),
        (f"{STEP}\nheader = [256]", "line 2: 256 needs more than 8 bits"),
        (f"{STEP}\nheader = [{{ number = 2, add = 1 }}]", "line 2: a number stands as it is"),
        (f'{STEP}\nheader = [{{ value = "loop", number = 1 }}]', "line 2: loop and a number contradict"),
        (f'{STEP}\nheader = [{{ value = "loop", most = 300 }}]', "line 2: 300 needs more than 8 bits"),
        (f'{STEP}\nheader = [{{ value = "loop", bits = 3 }}]', r"line 2: 3 bits are left over .*bits = 5 \}"),
        (f'{STEP}\nheader = [{{ value = "loop", when = "hit" }}]', "line 2: every header has the same fields"),
        ('step = ["new1", { value = "voice1", when = "new2" }, "voice2", "drum"]',
         'line 1: a routine can\'t know whether voice1 is there; add a field "new2"'),
        ('step = [{ value = "new1", bits = 4 }, { value = "voice1", when = "new1", bits = 4 }, "voice2", "drum"]',
         "line 1: a field that may be missing, voice1, must be whole bytes"),
        ('event = [{ value = "length", add = -2 }, "voice1", "voice2", "drum"]', "line 1: a length of 1 can't be"),
        ('event = [{ value = "length", add = 255 }, "voice1", "voice2", "drum"]', "line 1: a length of 1 can't be"),
        (f'{STEP}\nblocks = ["header", "music", "music"]', "line 2: a block stands twice"),
        (f'{STEP}\nheader = [1]\nblocks = ["music"]', "line 3: header has no place in the list"),
        (f"{STEP}\nalign = {{ tail = 2 }}", "line 2: export.align.*can't be 'tail'"),
        ('step = [{ value = "voice1", bits = 7 }, { value = "drum", bits = 1 }, "voice2"]',
         r"line 1: C2 would be 223 in voice1, which takes 0 to 127 .*; give it more bits"),
        (f"{STEP}\n[export.tones]\nrest = 223", "line 1: C2 would be 223 in voice1, as a rest is"),
        (f"{STEP}\n[export.tones]\nhold = 0", "line 1: a hold would be 0 in voice1, as a rest is"),
        (f'{STEP}\n[export.tones]\ncode = "index"\nhold = 37', "line 1: C5 would be 37 in voice1, as a hold is"),
        ('step = ["voice1", "voice2"]', "line LINE: no field tells drums; give it one, or say other"),
        (f"{STEP}\n[export.drums]\ncodes = {{ kick = 1 }}", "line 2: the drum 'snare' has no code"),
        (f"{STEP}\n[export.drums]\ncodes = {{ kick = 0, snare = 1 }}", "line 3: kick would be 0, as no drum is"),
        (f"{STEP}\n[export.drums]\ncodes = {{ kick = 1, snare = 256 }}", "line 3: snare would be 256; drum takes 0 to 255"),
        (f"{STEP}\n[export.drums]\ncodes = {{ kick = 1, snar = 2 }}", "line 3: the engine has no drum 'snar'.*did you mean"),
        ('step = ["voice1", "voice2", "drum", { value = "drum2", bits = 8, most = 9 }]\n'
         "[export.drums]\ncodes = { kick = [1, 10], snare = 2 }", "line 3: kick would be 10; drum2 takes 0 to 9"),
        ('step = ["voice1", "voice2"]\n[export.drums]\nplace = "voice1"\ncodes = { kick = 223, snare = 224 }',
         "line 1: C2 would be 223 in voice1, as the drum kick is"),
        (f'{STEP}\n[export.text]\nhex = "0x10"', "line 3: export.text.hex can't be '0x10'"),
    ],
)  # fmt: skip
def test_a_layout_that_contradicts_itself_is_refused_with_its_line(text: str, message: str) -> None:
    message = message.replace("LINE", str(LINE))
    message = re.sub(r"^line (\d)\b(?!\d)", lambda found: f"line {LINE + int(found[1])}", message)
    with pytest.raises(EngineError, match=message):
        parse_engine(f"{HEAD}{text}\n")


def test_a_drum_in_place_of_a_tone_takes_its_step() -> None:
    text = f'{HEAD}step = ["voice1", "voice2"]\n[export.drums]\nplace = "voice1"\ncodes = {{ kick = 240, snare = 241 }}\n'
    assert parse_engine(text).profile.export is not None
    after = text.replace("clock_hz", "drum_takes_step = false\nclock_hz", 1)
    with pytest.raises(
        EngineError, match="a drum in place of voice1 leaves open what sounds after it"
    ):
        parse_engine(after)


@pytest.mark.parametrize(
    "text",
    [
        'step = ["voice1", "voice2"]\n[export.drums]\nplace = "voice1"\ncodes = { kick = 240, snare = 240 }',
        'step = ["hit", "voice1", "voice2", { value = "drum", when = "hit" }]\n'
        "[export.drums]\ncodes = { kick = 0, snare = 1 }",
    ],
)
def test_drums_may_share_a_code_and_use_none_where_a_flag_says_more(text: str) -> None:
    assert parse_engine(f"{HEAD}{text}\n").profile.export is not None


def test_frequencies_are_no_settings() -> None:
    text = GOOD.replace('method = "counter"', 'method = "frequencies"')
    text = text.replace('lowest = "C2"\nhighest = "C5"\nbits = 8', "table = { A3 = 220, A4 = 440 }")
    with pytest.raises(EngineError, match=r'a routine has no settings .*; code = "index"'):
        parse_engine(f"{text}[export]\n{STEP}\n")
    found = parse_engine(f'{text}[export]\n{STEP}\n[export.tones]\ncode = "index"\n')
    assert found.profile.export is not None


def test_the_example_in_the_readme_is_right(tmp_path: Path) -> None:
    (block,) = (block for block in blocks("toml") if "[export]" in block)
    file = tmp_path / "mine.toml"
    new_engine(file)
    head = file.read_text("utf-8").split("[export]\n")[0]
    layout = parse_engine(head.replace("drum_takes_step = false", "") + block).profile.export
    assert layout is not None
    assert len(layout.step) == 2


@pytest.mark.parametrize("kind", ["step", "event"])
def test_all_that_the_written_example_explains_can_be_asked_for(kind: str, tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    new_engine(file)
    head, export = file.read_text("utf-8").split("[export]\n")
    asked = re.sub(r"^# (?=[a-z_]+ += |\[export)", "", export, flags=re.MULTILINE)
    other = {"step": "event", "event": "step"}[kind]
    asked = re.sub(rf"^({other}|place) .*\n", "", asked, flags=re.MULTILINE)
    layout = parse_engine(f"{head}[export]\n{asked}").profile.export
    assert layout is not None
    told = {
        name for name in layout._fields if getattr(layout, name) != layout._field_defaults[name]
    }
    assert told >= {kind, "header", "end", "again", "loop_mark", "order", "pattern_list", "pitches"}
    words = set(re.findall(r"[a-z_]+", export))
    assert set(layout._fields) | set(layout.tones._fields) | set(layout.text._fields) <= words
    assert set(layout.drums._fields) <= words
