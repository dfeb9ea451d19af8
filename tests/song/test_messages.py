"""Messages against those that mido, a reader of its own, finds in the same bytes."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mido.midifiles.meta import _key_signature_decode

from arranger.song.midi.messages import Message, read_messages

DEMOS = sorted((Path(__file__).parents[2] / "demo_songs").glob("*.mid"))
KEYS = {name: (sharps, mode == 1) for (sharps, mode), name in _key_signature_decode.items()}
BYTE, CHANNEL, KEY = st.integers(0, 127), st.integers(0, 15), st.sampled_from(sorted(KEYS))
TEXT = st.text(st.characters(max_codepoint=255), max_size=20)


def as_ours(message: Any) -> Message | None:
    """Return what mido's message is here, or None for one that is passed over."""
    match message.type:
        case "note_on" | "note_off":
            return Message(message.type, message.channel, message.note, message.velocity)
        case "polytouch":
            return Message(message.type, message.channel, message.note, message.value)
        case "control_change":
            return Message(message.type, message.channel, message.control, message.value)
        case "program_change":
            return Message(message.type, message.channel, message.program)
        case "aftertouch":
            return Message(message.type, message.channel, message.value)
        case "pitchwheel":
            return Message(message.type, message.channel, message.pitch % 128, message.pitch)
        case "sysex":
            return Message("sysex", value=tuple(message.data))
        case "midi_port":
            return Message("midi_port", value=message.port)
        case "set_tempo":
            return Message("set_tempo", value=message.tempo)
        case "time_signature":
            return Message(message.type, value=(message.numerator, message.denominator))
        case "key_signature":
            return Message("key_signature", value=KEYS[message.key])
        case "end_of_track":
            return Message("end_of_track")
        case "text" | "copyright" | "lyrics" | "marker" | "cue_marker":
            return Message(message.type, value=message.text)
        case "track_name" | "instrument_name" | "device_name":
            return Message(message.type, value=message.name)
    return None


def check(data: bytes) -> None:
    place = 14
    for track in mido.MidiFile(file=io.BytesIO(data)).tracks:
        wanted, delta = [], 0
        for message in track:
            delta += message.time
            ours = as_ours(message)
            if ours is not None:
                wanted.append((delta, ours))
                delta = 0
        start = place + 8
        place = start + int.from_bytes(data[place + 4 : start])
        assert list(read_messages(data, start, place)) == wanted


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_the_demo_songs_hold_what_mido_finds(path: Path) -> None:
    check(path.read_bytes())


MESSAGES = st.one_of(
    *(
        st.builds(mido.Message, st.just(kind), channel=CHANNEL, **fields)
        for kind, fields in {
            "note_on": {"note": BYTE, "velocity": BYTE},
            "note_off": {"note": BYTE, "velocity": BYTE},
            "polytouch": {"note": BYTE, "value": BYTE},
            "control_change": {"control": BYTE, "value": BYTE},
            "program_change": {"program": BYTE},
            "aftertouch": {"value": BYTE},
            "pitchwheel": {"pitch": st.integers(-8192, 8191)},
        }.items()
    ),
    st.builds(mido.Message, st.just("sysex"), data=st.lists(BYTE, max_size=20)),
    *(
        st.builds(mido.MetaMessage, st.just(kind), **fields)
        for kind, fields in {
            "text": {"text": TEXT},
            "track_name": {"name": TEXT},
            "midi_port": {"port": BYTE},
            "set_tempo": {"tempo": st.integers(1, (1 << 24) - 1)},
            "time_signature": {
                "numerator": st.integers(1, 255),
                "denominator": st.sampled_from((1, 2, 4, 8, 16, 32, 64)),
            },
            "key_signature": {"key": KEY},
            "sequencer_specific": {"data": st.lists(BYTE, max_size=20)},
        }.items()
    ),
)


@settings(max_examples=50)
@given(st.lists(st.tuples(st.integers(0, 1 << 20), MESSAGES), max_size=30))
def test_any_messages_are_what_mido_finds(played: list[tuple[int, Any]]) -> None:
    file = mido.MidiFile(type=0)
    file.tracks.append(mido.MidiTrack(message.copy(time=time) for time, message in played))
    written = io.BytesIO()
    file.save(file=written)
    check(written.getvalue())
