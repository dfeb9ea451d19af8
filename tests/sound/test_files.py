"""Audio files, read back by soundfile (libsndfile), the library that many players use."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import soundfile
from hypothesis import given, settings
from hypothesis import strategies as st

from arranger.engine import builtin_engines, load_engine
from arranger.errors import OutputError, SettingsError, SheetError
from arranger.rows import HOLD, REST
from arranger.sound import render, samples
from tests.sound.sheets import sheet_of, sheets

if TYPE_CHECKING:
    from pathlib import Path

ENGINE = load_engine("twin-phase")
LENGTH = ENGINE.nearest_step_length(0.1)
PIECE = sheet_of(
    ENGINE,
    [69, HOLD, 72, HOLD],
    [45, HOLD, REST, 50],
    ["kick", None, None, "hat"],
    length=LENGTH.setting,
)
PEAK = 10 ** (-12 / 20)


@pytest.mark.parametrize(("suffix", "format_name", "coding"), [
    (".wav", "WAV", "PCM_16"), (".flac", "FLAC", "PCM_16"), (".ogg", "OGG", "VORBIS"),
    (".WAV", "WAV", "PCM_16"),
])  # fmt: skip
@pytest.mark.parametrize("split", [False, True])
def test_what_is_read_back_is_what_was_played(
    tmp_path: Path, suffix: str, format_name: str, coding: str, split: bool
) -> None:
    path = tmp_path / f"piece{suffix}"
    render(PIECE, ENGINE, path, split=split)
    expected = np.concatenate(list(samples(PIECE, ENGINE, split=split)))
    info = soundfile.info(path)
    assert (info.format, info.subtype, info.samplerate) == (format_name, coding, 44_100)
    assert info.channels == 1 + split
    found, _ = soundfile.read(path, dtype="float32")
    assert found.shape == expected.shape
    if coding == "PCM_16":
        # Rounding to 16 bits is off by half a step at most; a step is 2 ** -15.
        np.testing.assert_allclose(found, expected, rtol=0, atol=2**-16)
    else:
        # Vorbis is lossy: it must be the same sound, not the same samples.
        both = np.stack((found.ravel(), expected.ravel()))
        assert np.corrcoef(both)[0, 1] > 0.97


@pytest.mark.parametrize("rate", [22_050, 48_000, 96_000, 192_000])
def test_the_piece_lasts_as_long_as_its_steps(tmp_path: Path, rate: int) -> None:
    path = tmp_path / "piece.wav"
    render(PIECE, ENGINE, path, sample_rate=rate)
    assert soundfile.info(path).frames == pytest.approx(4 * LENGTH.seconds * rate, abs=1)


@pytest.mark.parametrize("name", builtin_engines())
def test_the_peak_is_twelve_decibels_below_full_scale(name: str) -> None:
    engine = load_engine(name)
    piece = sheet_of(engine, [69, HOLD, 72], [45, HOLD, 50], ["snare", None, None])
    sound = np.concatenate(list(samples(piece, engine)))
    assert np.abs(sound).max() <= PEAK * (1 + 1e-6)
    # Two voices that share the pin reach it together now and then.
    assert np.abs(sound).max() > PEAK / 2


@pytest.mark.parametrize("speaker", ["small", "piezo"])
@settings(max_examples=10)
@given(data=st.data())
def test_a_speaker_is_no_louder_than_the_pin(speaker: str, data: st.DataObject) -> None:
    engine = load_engine(data.draw(st.sampled_from(builtin_engines())))
    sheet = data.draw(sheets(engine, max_steps=6))
    blocks = samples(sheet, engine, sample_rate=22_050, speaker=speaker)
    assert np.abs(np.concatenate(list(blocks))).max() <= PEAK


def test_progress_ends_with_the_whole(tmp_path: Path) -> None:
    seen: list[tuple[int, int]] = []
    render(
        PIECE, ENGINE, tmp_path / "p.wav", progress=lambda done, whole: seen.append((done, whole))
    )
    assert seen
    assert seen[-1][0] == seen[-1][1]
    assert seen == sorted(seen)


def test_an_unknown_format_is_refused(tmp_path: Path) -> None:
    with pytest.raises(
        OutputError, match=r"\.mp9 is no audio format.*name it \.wav, \.flac, \.ogg"
    ):
        render(PIECE, ENGINE, tmp_path / "piece.mp9")


@pytest.mark.parametrize("rate", [0, 22_049, 192_001])
def test_a_rate_out_of_range_is_refused(tmp_path: Path, rate: int) -> None:
    with pytest.raises(SettingsError, match="choose 22050 to 192000"):
        render(PIECE, ENGINE, tmp_path / "piece.wav", sample_rate=rate)


def test_an_unknown_speaker_is_refused_with_the_nearest() -> None:
    with pytest.raises(SettingsError, match=r"no speaker 'piezzo'; did you mean 'piezo'\?"):
        samples(PIECE, ENGINE, speaker="piezzo")


def test_nothing_is_left_of_a_rendering_that_fails(tmp_path: Path) -> None:
    path = tmp_path / "piece.wav"
    path.write_bytes(b"before")
    with pytest.raises(SheetError, match="outside the pitch table"):
        render(sheet_of(ENGINE, [69, 0]), ENGINE, path)
    assert [entry.name for entry in tmp_path.iterdir()] == ["piece.wav"]
    assert path.read_bytes() == b"before"
