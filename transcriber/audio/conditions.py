"""What is wrong with a recording that can still be listened to, as problems with times."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from transcriber.audio.channels import Mix, decibels
from transcriber.audio.limits import (
    CLIP_REGION_GAP_S,
    LONG_SILENCE_S,
    LOW_LEVEL_DB,
    MAINS_HARMONICS,
    MAINS_HZ,
    MAINS_PROMINENCE_DB,
    MAINS_REPORTED_DB,
    MAINS_TOLERANCE_HZ,
    MAINS_WINDOW_SAMPLES,
    MOST_CLIP_REGIONS,
    OFFSET_REPORTED,
    SILENCE_BELOW_LOUD_DB,
    SILENCE_DB,
)
from transcriber.audio.survey import FloatArray, Survey
from transcriber.records.problem import Problem


def offset_problems(survey: Survey, mix: Mix, sample_bits: int | None) -> tuple[Problem, ...]:
    """Report a constant offset, unless it is mere rounding; it has been removed from the samples."""
    offset = float(mix.weights @ survey.offset)
    step = 2.0 ** (1 - sample_bits) if sample_bits else 0.0
    if abs(offset) < max(OFFSET_REPORTED, 1.5 * step):
        return ()
    return (Problem("dc_offset", f"A constant offset of {offset:+.3f} of full scale was removed."),)


def clipping_problems(survey: Survey, mix: Mix, rate_hz: int, start_s: float) -> tuple[Problem, ...]:
    """Report where runs of samples lie at full scale, in at most `MOST_CLIP_REGIONS` regions."""
    counts = survey.clipped[:, mix.weights > 0].max(axis=1)
    blocks = np.flatnonzero(counts)
    if not len(blocks):
        return ()
    block_s = survey.block_frames / rate_hz
    gap = CLIP_REGION_GAP_S / block_s
    while len(regions := _regions(blocks, gap)) > MOST_CLIP_REGIONS:
        gap *= 2
    found = []
    for first, last in regions:
        start_frame = first * survey.block_frames
        end_frame = min((last + 1) * survey.block_frames, survey.frames)
        share = 100.0 * counts[first : last + 1].sum() / (end_frame - start_frame)
        begin, end = start_s + start_frame / rate_hz, start_s + end_frame / rate_hz
        message = (
            f"The recording is clipped from {begin:.1f} to {end:.1f} s ({share:.2g} % of the samples there); "
            "turn the input down and record again if notes are wrong."
        )
        found.append(Problem("clipping", message, round(begin, 3), round(end, 3)))
    return tuple(found)


def level_problems(survey: Survey, mix: Mix, rate_hz: int, start_s: float) -> tuple[Problem, ...]:
    """Report a very low level, and silences of `LONG_SILENCE_S` or longer."""
    level = decibels(survey.mix_power(mix.weights))
    loud = float(np.percentile(level, 95))
    found = []
    if loud < LOW_LEVEL_DB:
        message = (
            f"The recording is very quiet ({loud:.0f} dB; {LOW_LEVEL_DB:.0f} dB or more is better): "
            "turn the input up and record again if notes are missing."
        )
        found.append(Problem("low_level", message))
    block_s = survey.block_frames / rate_hz
    quiet = np.flatnonzero(level < max(min(SILENCE_DB, loud - 10.0), loud - SILENCE_BELOW_LOUD_DB))
    for first, last in _regions(quiet, 1.0):
        begin = start_s + first * block_s
        end = start_s + min((last + 1) * block_s, survey.frames / rate_hz)
        if end - begin >= LONG_SILENCE_S - 1e-9:
            message = f"Nothing is heard from {begin:.1f} to {end:.1f} s."
            found.append(Problem("long_silence", message, round(begin, 3), round(end, 3)))
    return tuple(found)


def hum_problems(samples: npt.NDArray[np.float32], rate_hz: int) -> tuple[Problem, ...]:
    """Report mains hum: a steady line at 50 or 60 Hz. It is left in the sound.

    The 20th percentile over windows of each spectral bin keeps what never stops, and loses the notes.
    The line at the mains frequency itself must stand clear of its surroundings: the fundamental lies
    below the guitar's range, whereas 100 Hz may be a sharp G2. Left in, because a filter on harmonics
    would touch notes (G2 98.0, G3 196.0, B2 123.5 Hz) and the pitch tracker hears above it.
    """
    size = MAINS_WINDOW_SAMPLES
    if len(samples) < 2 * size:
        return ()
    spectrum = _steady_spectrum(samples, size)
    for mains in MAINS_HZ:
        line_db = _line_db(spectrum, mains, rate_hz, size)
        if line_db is None or line_db < MAINS_REPORTED_DB:
            continue
        harmonics = [
            k * mains
            for k in range(2, MAINS_HARMONICS + 1)
            if _line_db(spectrum, k * mains, rate_hz, size) is not None
        ]
        names = ", ".join(f"{frequency:.0f}" for frequency in [mains, *harmonics])
        message = (
            f"Mains hum is heard at {names} Hz ({line_db:.0f} dB at {mains:.0f} Hz); "
            "it was left in: check very quiet low notes."
        )
        return (Problem("mains_hum", message),)
    return ()


def _steady_spectrum(samples: npt.NDArray[np.float32], size: int) -> FloatArray:
    window = np.hanning(size)
    starts = np.unique(np.linspace(0, len(samples) - size, min(60, 2 * len(samples) // size)).astype(int))
    highest = int(MAINS_HARMONICS * max(MAINS_HZ) * 2)
    bins = min(size // 2, highest * size // 22_050)
    power = [
        np.abs(np.fft.rfft(samples[s : s + size] * window)[:bins] * 2 / window.sum()) ** 2 for s in starts
    ]
    # A sinusoid of amplitude a has power a^2 / 2.
    steady: FloatArray = np.percentile(np.asarray(power) / 2, 20, axis=0)
    return steady


def _line_db(spectrum: FloatArray, frequency: float, rate_hz: int, size: int) -> float | None:
    """Level of a line within `MAINS_TOLERANCE_HZ` of a frequency, or None if none stands out there."""
    width = rate_hz / size
    centre = frequency / width
    reach = max(1, round(MAINS_TOLERANCE_HZ / width))
    low = round(centre) - reach
    peak = low + int(np.argmax(spectrum[low : low + 2 * reach + 1]))
    around = np.r_[spectrum[peak - 16 : peak - 4], spectrum[peak + 5 : peak + 17]]
    floor = decibels(np.median(around))
    left, top, right = decibels(spectrum[peak - 1 : peak + 2])
    if top < max(left, right) or top - floor < MAINS_PROMINENCE_DB or left == top == right:
        return None
    # Vertex of the parabola through three bins, in dB: the line's frequency between bins.
    refined = (peak + 0.5 * (left - right) / (left - 2 * top + right)) * width
    return float(top) if abs(refined - frequency) <= MAINS_TOLERANCE_HZ else None


def _regions(blocks: npt.NDArray[np.intp], gap: float) -> list[tuple[int, int]]:
    """First and last block of each group whose members are at most `gap` blocks apart."""
    if not len(blocks):
        return []
    cuts = np.flatnonzero(np.diff(blocks) > gap) + 1
    return [(int(group[0]), int(group[-1])) for group in np.split(blocks, cuts)]
