"""What goes in comes out: rates, channels, bit depths, formats, parts of a file."""

import hashlib
import math
import struct

import numpy as np
import pytest
import scipy.signal
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from transcriber.audio import read_take
from transcriber.errors import AudioError, UsageError

QUICK = settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
# Largest error of one sample that a format may add to a tone at 0.4: half a step, or lossy coding.
FORMATS = [
    ("WAV", "PCM_U8", 0.012),
    ("WAV", "PCM_16", 3e-4),
    ("WAV", "PCM_24", 3e-4),
    ("WAV", "PCM_32", 3e-4),
    ("WAV", "FLOAT", 3e-4),
    ("WAV", "DOUBLE", 3e-4),
    ("WAV", "ULAW", 0.02),
    ("RF64", "PCM_16", 3e-4),
    ("AIFF", "PCM_S8", 0.012),
    ("AIFF", "PCM_16", 3e-4),
    ("FLAC", "PCM_16", 3e-4),
    ("FLAC", "PCM_24", 3e-4),
    ("OGG", "VORBIS", 0.02),
    ("OGG", "OPUS", 0.04),
    ("MP3", "MPEG_LAYER_III", 0.02),
]


def tone(rate, seconds=1.0, frequency=196.0, amplitude=0.4):
    """A steady tone that fades in and out, so that no edge rings."""
    time = np.arange(round(rate * seconds)) / rate
    fade = np.clip(np.minimum(time, seconds - time) / 0.05, 0, 1)
    return amplitude * fade * np.sin(2 * np.pi * frequency * time)


def codes(take):
    return [problem.code for problem in take.problems]


@pytest.mark.parametrize(("form", "subtype", "error"), FORMATS)
def test_every_format_gives_the_tone_back(tmp_path, form, subtype, error):
    path = tmp_path / "tone.bin"
    soundfile.write(path, tone(48000), 48000, format=form, subtype=subtype)
    take = read_take(path)
    assert take.sample_rate_hz == 22050
    assert len(take.samples) == 22050
    np.testing.assert_allclose(take.samples[600:-600], tone(22050)[600:-600], atol=error)
    assert codes(take) == []


@pytest.mark.parametrize("rate", [8000, 11025, 16000, 22050, 32000, 44100, 88200, 176400, 192000])
def test_every_rate_gives_the_tone_back(tmp_path, rate):
    path = tmp_path / "tone.wav"
    soundfile.write(path, tone(rate), rate, subtype="PCM_24")
    take = read_take(path)
    assert (take.source_sample_rate_hz, len(take.samples)) == (rate, 22050)
    assert take.source_duration_s == pytest.approx(1.0)
    np.testing.assert_allclose(take.samples[500:-500], tone(22050)[500:-500], atol=3e-4)


def test_resampling_agrees_with_an_independent_polyphase_filter(tmp_path):
    noise = 0.05 * scipy.signal.resample_poly(np.random.default_rng(3).standard_normal(16000), 6, 1)
    soundfile.write(tmp_path / "noise.wav", noise, 96000, subtype="FLOAT")
    mine = read_take(tmp_path / "noise.wav").samples
    reference = scipy.signal.resample_poly(noise - noise.mean(), 147, 640)
    rms = np.sqrt(np.mean(reference**2))
    assert np.sqrt(np.mean((mine - reference)[500:-500] ** 2)) < 0.01 * rms


def test_sound_above_the_new_band_does_not_fold_down(tmp_path):
    soundfile.write(tmp_path / "high.wav", tone(96000, frequency=15000) + tone(96000, amplitude=0.01), 96000)
    take = read_take(tmp_path / "high.wav")
    # 15 kHz would fold to 7050 Hz at 22,050 Hz.
    spectrum = np.abs(np.fft.rfft(take.samples * np.hanning(len(take.samples)))) * 4 / len(take.samples)
    assert spectrum[7000:7100].max() < 1e-4


@QUICK
@given(
    rate=st.sampled_from([8000, 22050, 44100, 48000, 96000, 192000]),
    seconds=st.floats(0.2, 2.5),
    channels=st.integers(1, 8),
    offset=st.floats(-0.3, 0.3),
    subtype=st.sampled_from(["PCM_U8", "PCM_16", "PCM_24", "FLOAT", "DOUBLE"]),
)
def test_shape_offset_and_range_hold_for_any_sound(tmp_path, rate, seconds, channels, offset, subtype):
    frames = math.ceil(seconds * rate)
    one = np.random.default_rng(frames).standard_normal((frames, channels)).clip(-3, 3) * 0.2 + offset
    soundfile.write(tmp_path / "any.wav", one, rate, subtype=subtype)
    take = read_take(tmp_path / "any.wav")
    assert take.samples.dtype == np.float32
    assert take.samples.ndim == 1
    assert not take.samples.flags.writeable
    assert abs(len(take.samples) - frames * 22050 / rate) <= 1
    assert np.isfinite(take.samples).all()
    # The filter rings at the edges of a sound that begins in full, so the mean is not exactly 0.
    assert abs(float(take.samples.mean())) < 0.01
    if abs(offset) > 0.02:
        assert "dc_offset" in codes(take)


@QUICK
@given(
    start=st.floats(0, 1.7), length=st.floats(0.2, 2.0), form=st.sampled_from(["wav", "flac", "ogg", "mp3"])
)
def test_a_part_is_the_same_sound_as_in_the_whole(tmp_path, start, length, form):
    path = tmp_path / f"whole.{form}"
    if not path.exists():
        soundfile.write(path, tone(44100, 2.0), 44100)
    end = min(2.0, start + length)
    whole, part = read_take(path), read_take(path, start, max(end, start + 0.2))
    assert part.start_s == pytest.approx(start, abs=1 / 44100)
    assert part.source_duration_s == whole.source_duration_s
    assert part.end_s == pytest.approx(max(end, start + 0.2), abs=2 / 22050)
    times = part.start_s + np.arange(len(part.samples)) / 22050
    expected = np.interp(times, np.arange(len(whole.samples)) / 22050, whole.samples)
    inner = slice(300, -300) if len(times) > 700 else slice(len(times) // 2, len(times) // 2 + 1)
    # A part has an offset of its own: a cut tone's mean is not 0.
    shift = float(np.mean((part.samples - expected)[inner]))
    np.testing.assert_allclose(part.samples[inner] - shift, expected[inner], atol=2e-3)


def test_mp3_is_not_torn_at_the_blocks_it_is_read_in(tmp_path):
    soundfile.write(tmp_path / "long.mp3", tone(22050, 5.0), 22050)
    at_once, _ = soundfile.read(tmp_path / "long.mp3")
    np.testing.assert_allclose(read_take(tmp_path / "long.mp3").samples, at_once - at_once.mean(), atol=1e-5)


def test_the_take_names_its_file_and_digest(tmp_path):
    path = tmp_path / "näme with space.wav"
    soundfile.write(path, tone(44100), 44100)
    take = read_take(path)
    assert take.file == "näme with space.wav"
    assert take.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


def test_the_same_file_gives_the_same_samples(tmp_path):
    soundfile.write(tmp_path / "a.flac", np.c_[tone(44100), 0.7 * tone(44100)], 44100)
    one, two = read_take(tmp_path / "a.flac"), read_take(tmp_path / "a.flac")
    assert one.samples.tobytes() == two.samples.tobytes()
    assert one.problems == two.problems


@pytest.mark.parametrize(
    ("start", "end", "words"),
    [
        (-0.1, None, "start -0.1 s"),
        (1.0, None, "start 1 s"),
        (5.0, None, "1.000 s long"),
        (None, 1.5, "end 1.5 s"),
        (None, 0.1, "end 0.1 s"),
        (0.5, 0.6, "give 0.7 or more"),
        (0.7, 0.3, "end 0.3 s"),
        (math.nan, None, "nan"),
        (None, math.inf, "inf"),
    ],
)
def test_a_part_outside_the_file_is_refused_with_both_values(tmp_path, start, end, words):
    soundfile.write(tmp_path / "one.wav", tone(44100), 44100)
    with pytest.raises(UsageError) as caught:
        read_take(tmp_path / "one.wav", start, end)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_the_duration_as_shown_is_a_valid_end(tmp_path):
    soundfile.write(tmp_path / "odd.wav", tone(44100, 0.99991), 44100)
    assert read_take(tmp_path / "odd.wav", None, 1.0).end_s == pytest.approx(0.9999, abs=1e-3)


def bad_files(folder):
    """Every kind of file that is refused, with words its message must hold."""
    rng = np.random.default_rng(5)
    rate = 22050
    (folder / "empty.wav").write_bytes(b"")
    (folder / "noise.wav").write_bytes(rng.bytes(70000))
    (folder / "noise.mp3").write_bytes(rng.bytes(70000))
    (folder / "text.mp3").write_text("not a sound\n" * 500)
    (folder / "text.raw").write_text("not a sound\n" * 500)
    (folder / "stub.wav").write_bytes(b"RIFF")
    (folder / "folder.wav").mkdir()
    sounds = {
        "silent": np.zeros(rate),
        "offset_only": np.full(rate, 0.5),
        "tiny": rng.standard_normal(rate) * 1e-6,
        "short": tone(rate, 0.199),
        "one_sample": np.array([0.5]),
        "none": np.zeros(0),
        "nan": np.r_[tone(rate), np.nan, tone(rate)],
        "infinite": np.r_[tone(rate), -np.inf],
        "clipped": np.sign(tone(rate, 1.0, 200.5)),
        "hard_clipped": np.clip(500 * np.sin(2 * np.pi * 110 * np.arange(rate) / rate), -1, 1),
    }
    for name, sound in sounds.items():
        soundfile.write(folder / f"{name}.wav", sound, rate, subtype="DOUBLE")
    soundfile.write(folder / "slow.wav", tone(4000), 4000)
    soundfile.write(folder / "fast.wav", tone(384000), 384000)
    soundfile.write(folder / "wide.wav", np.tile(tone(8000)[:, None], (1, 33)), 8000)
    soundfile.write(folder / "cut.wav", tone(44100), 44100)
    (folder / "cut.wav").write_bytes((folder / "cut.wav").read_bytes()[:9000])
    (folder / "headless.flac").write_bytes(b"fLaC" + rng.bytes(3000))


BAD = {
    "missing.wav": "does not exist",
    "empty.wav": "empty",
    "noise.wav": "WAV, FLAC",
    "noise.mp3": "WAV, FLAC",
    "text.mp3": "WAV, FLAC",
    "text.raw": "WAV, FLAC",
    "stub.wav": "WAV, FLAC",
    "folder.wav": "folder",
    "silent.wav": "silent",
    "offset_only.wav": "silent",
    "tiny.wav": "silent",
    "short.wav": "0.2 s",
    "one_sample.wav": "0.2 s",
    "none.wav": "no sound",
    "nan.wav": "the first at 1.000 s",
    "infinite.wav": "infinite",
    "clipped.wav": "clipped throughout",
    "hard_clipped.wav": "clipped throughout",
    "slow.wav": "4000 Hz",
    "fast.wav": "384000 Hz",
    "wide.wav": "33 channels",
    "cut.wav": "cut short",
    "headless.flac": "WAV, FLAC",
    "nul\0name.wav": "cannot be read",
}


@pytest.mark.parametrize("name", BAD)
def test_a_bad_file_is_refused_in_one_line(tmp_path, capfd, name):
    bad_files(tmp_path)
    with pytest.raises(AudioError) as caught:
        read_take(tmp_path / name)
    assert BAD[name] in str(caught.value)
    assert "\n" not in str(caught.value)
    assert capfd.readouterr() == ("", "")


def test_an_unreadable_file_is_refused(tmp_path, monkeypatch):
    soundfile.write(tmp_path / "a.wav", tone(8000), 8000)

    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("pathlib.Path.open", refuse)
    with pytest.raises(AudioError, match="Permission denied"):
        read_take(tmp_path / "a.wav")


@pytest.mark.parametrize(
    ("form", "share"), [("wav", 0.9), ("wav", 0.4), ("aiff", 0.6), ("flac", 0.6), ("mp3", 0.6)]
)
def test_a_file_that_was_cut_short_is_read_as_far_as_it_goes(tmp_path, capfd, form, share):
    path = tmp_path / f"cut.{form}"
    soundfile.write(path, tone(44100, 3.0), 44100)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    take = read_take(path)
    assert codes(take) == ["truncated"]
    # Compressed sound loses up to a frame, and its bytes are not spread evenly.
    assert take.end_s == pytest.approx(3.0 * share, abs=0.3)
    assert take.problems[0].end_s == pytest.approx(3.0, abs=0.01)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize("size", [0, 0xFFFFFFFF])
def test_a_streamed_wav_with_no_known_length_is_not_called_truncated(tmp_path, size):
    path = tmp_path / "streamed.wav"
    soundfile.write(path, tone(44100), 44100)
    data = bytearray(path.read_bytes())
    at = data.index(b"data") + 4
    data[at : at + 4] = struct.pack("<I", size)
    path.write_bytes(data)
    try:
        take = read_take(path)
    except AudioError as error:
        # A size of 0 may also be taken at its word.
        assert size == 0
        assert "no sound" in str(error)  # noqa: PT017
    else:
        assert "truncated" not in codes(take)
        assert len(take.samples) == pytest.approx(22050, abs=2)
