"""Events of a track gathered in C are those gathered in Python."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.errors import LimitError
from arranger.song.midi import events
from arranger.song.midi.events import TrackBytes, TrackEvents, TrackLimits, track_events
from arranger.song.midi.syntax import encode_quantity

FAR = TrackLimits(1000, 1000, 10_000)
CHANNEL = st.integers(0, 1)
PITCH = st.sampled_from((0, 60, 61, 127))
CONTROLLER = st.sampled_from((0, 1, 7, 64, 111, 119, 120, 121, 122, 123, 127))
OTHERS = (
    "FF 01 02 41 42",  # a text
    "FF 03 00",
    "FF 20 01 00",  # the prefix of a channel, which nobody looks at
    "FF 21 01 00",  # ports
    "FF 21 01 7F",
    "FF 21 00",
    "FF 51 03 07 A1 20",
    "FF 58 04 03 02 18 08",
    "FF 59 02 FE 01",
    "FF 7F 02 FF 80",
    "F0 03 01 02 F7",
    "F0 41" + 64 * " 10" + " F7",  # too long to mean something here
    "F7 01 90",
)


@st.composite
def tracks(draw: st.DrawFn) -> TrackBytes:
    """Draw a track of the few events that overlap, end and silence each other most."""
    found, status = bytearray(b"before"), 0
    for _ in range(draw(st.integers(0, 40))):
        found += encode_quantity(draw(st.sampled_from((0, 0, 1, 100, 200, 20_000))))
        kind = draw(st.sampled_from((0x80, 0x90, 0x90, 0x90, 0xA0, 0xB0, 0xC0, 0xD0, 0xE0, 0)))
        if not kind:
            found += bytes.fromhex(draw(st.sampled_from(OTHERS)))
            status = 0
            continue
        before, status = status, kind | draw(CHANNEL)
        if status != before or draw(st.booleans()):
            found.append(status)
        found.append(draw(CONTROLLER if kind == 0xB0 else PITCH))
        if kind not in {0xC0, 0xD0}:
            found.append(draw(st.sampled_from((0, 64))))
    return TrackBytes(bytes(found) + b"\x05\xff\x2f\x00after", 6, len(found) + 4)


def gathered(track: TrackBytes, start: int, limits: TrackLimits, device: int) -> TrackEvents | str:
    try:
        return track_events(3, track, start, limits, device)
    except LimitError as error:
        return str(error)


@settings(max_examples=50)
@given(
    tracks(),
    st.sampled_from((0, 96)),
    st.one_of(st.just(FAR), st.builds(TrackLimits, st.integers(0, 9), st.just(99), st.just(9))),
    st.integers(0, 2),
)
def test_what_is_compiled_gathers_the_same(
    track: TrackBytes, start: int, limits: TrackLimits, device: int
) -> None:
    found = gathered(track, start, limits, device)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(events, "_compiled", None)
        assert gathered(track, start, limits, device) == found


@pytest.mark.parametrize("compiled", [True, False])
@pytest.mark.parametrize(("most", "fits"), [(2, True), (1, False)])
def test_other_events_are_limited(
    compiled: bool, most: int, fits: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    if not compiled:
        monkeypatch.setattr(events, "_compiled", None)
    data = bytes.fromhex("00 C0 05 00 FF 21 01 01 00 B0 07 40 00 FF 2F 00")
    limits = TrackLimits(9, most, 9)
    if fits:
        assert track_events(0, TrackBytes(data, 0, len(data)), 0, limits).others == 2
    else:
        with pytest.raises(LimitError, match="more events"):
            track_events(0, TrackBytes(data, 0, len(data)), 0, limits)


def test_what_is_compiled_stays_within_its_bytes() -> None:
    for text in ("00 90 3C", "00 FF", "00 FF 01 7F 41", "80 80", "00 3C 40", "00 F0 05"):
        data = bytes.fromhex(text)
        for end in range(len(data) + 1):
            assert not track_events(0, TrackBytes(data, 0, end), 0, FAR).notes
    with pytest.raises(ValueError, match="don't fit"):
        track_events(0, TrackBytes(b"\x00", 0, 2), 0, FAR)
