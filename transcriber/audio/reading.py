"""From a file to a take: survey, choose channels, remove the offset, resample, report."""

from __future__ import annotations

import math
import os
from pathlib import Path

import numpy as np
import numpy.typing as npt

from transcriber.audio.channels import Mix, choose_mix, decibels
from transcriber.audio.conditions import (
    clipping_problems,
    hum_problems,
    level_problems,
    offset_problems,
)
from transcriber.audio.limits import (
    CLIPPED_SHARE_REFUSED,
    HIGHEST_PEAK,
    SHORTEST_S,
    SILENT_DB,
    WORKING_RATE_HZ,
)
from transcriber.audio.source import Source, open_source, read_blocks
from transcriber.audio.survey import Survey, survey_source
from transcriber.errors import AudioError, UsageError
from transcriber.records.problem import Problem
from transcriber.records.take import Take


def read_take(path: str | Path, start_s: float | None = None, end_s: float | None = None) -> Take:
    """Read a recording, or a part of it, as mono sound at the working rate.

    Parameters
    ----------
    path : str or Path
        WAV, FLAC, OGG, MP3, Opus or AIFF; 8 to 192 kHz; up to 32 channels.
    start_s, end_s : float or None
        The part to read, seconds in the file; None for its start and end.

    Returns
    -------
    Take
        Samples at 22,050 Hz with the offset removed; `start_s` is the exact time of the first one.

    Raises
    ------
    AudioError
        If the file is missing, empty, not sound, silent, clipped throughout, too short, or holds
        samples that are not numbers.
    UsageError
        If `start_s` and `end_s` do not lie in order within the file, or too close together.
    """
    source = open_source(path)
    start, stop = _part(source, start_s, end_s)
    survey = survey_source(source, start, stop)
    mix = choose_mix(survey)
    _refuse_useless(source, survey, mix)
    first_s = start / source.sample_rate_hz
    samples, scale_problems = _resampled(source, survey, mix, start, stop)
    problems = (
        *_shortfall(source, survey, start, stop),
        *mix.problems,
        *offset_problems(survey, mix, source.sample_bits),
        *scale_problems,
        *clipping_problems(survey, mix, source.sample_rate_hz, first_s),
        *level_problems(survey, mix, source.sample_rate_hz, first_s),
        *hum_problems(samples, WORKING_RATE_HZ),
    )
    samples.flags.writeable = False
    return Take(
        samples=samples,
        sample_rate_hz=WORKING_RATE_HZ,
        start_s=first_s,
        file=os.fsencode(source.path.name).decode("utf-8", "replace"),
        sha256=source.sha256,
        source_sample_rate_hz=source.sample_rate_hz,
        source_duration_s=source.duration_s,
        problems=problems,
    )


def _part(source: Source, start_s: float | None, end_s: float | None) -> tuple[int, int]:
    """First frame and the one after the last, checked against the file."""
    duration = source.duration_s
    if duration < SHORTEST_S:
        shown = math.floor(duration * 1000) / 1000
        cut = source.promised_frames / source.sample_rate_hz
        state = f"cut short: of {cut:.3f} s" if source.promised_frames > source.frames else "too short:"
        raise AudioError(
            f"'{source.path}' is {state} {shown:.3f} s can be read, a take needs {SHORTEST_S} s; "
            "copy or record it again"
        )
    for name, value in (("start", start_s), ("end", end_s)):
        if value is not None and not math.isfinite(value):
            raise UsageError(f"{name} {value} is not a time; give seconds from 0 to {duration:.3f}")
    start_s = 0.0 if start_s is None else start_s
    if start_s < 0 or start_s > duration - SHORTEST_S:
        raise UsageError(
            f"start {start_s:g} s does not lie in '{source.path}', which is {duration:.3f} s long; "
            f"give 0 to {math.floor((duration - SHORTEST_S) * 1000) / 1000:.3f}"
        )
    # An end taken from the rounded duration that is shown must be accepted.
    if end_s is not None and end_s > duration + 0.0005:
        raise UsageError(
            f"end {end_s:g} s lies after the end of '{source.path}', which is {duration:.3f} s long; "
            f"give {start_s + SHORTEST_S:g} to {duration:.3f}"
        )
    if end_s is not None and end_s < start_s + SHORTEST_S - 1e-9:
        raise UsageError(
            f"end {end_s:g} s is less than {SHORTEST_S} s after start {start_s:g} s; "
            f"give {start_s + SHORTEST_S:g} or more"
        )
    start = round(start_s * source.sample_rate_hz)
    stop = source.frames if end_s is None else min(source.frames, round(end_s * source.sample_rate_hz))
    return start, stop


def _refuse_useless(source: Source, survey: Survey, mix: Mix) -> None:
    seconds = survey.frames / source.sample_rate_hz
    if seconds < SHORTEST_S - 1e-3:
        raise AudioError(
            f"only {seconds:.3f} s of '{source.path}' can be decoded; a take needs at least {SHORTEST_S} s"
        )
    clipped = float(survey.clipped_share[mix.weights > 0].max())
    if clipped > CLIPPED_SHARE_REFUSED:
        raise AudioError(
            f"'{source.path}' is clipped throughout: {100 * clipped:.0f} % of its samples are at full scale, "
            f"at most {100 * CLIPPED_SHARE_REFUSED:.0f} % can be used; turn the input down and record again"
        )
    loudest = float(decibels(survey.mix_power(mix.weights)).max())
    if loudest < SILENT_DB:
        raise AudioError(
            f"'{source.path}' is silent: its loudest moment lies below {SILENT_DB:.0f} dB; "
            "check the cable and the input, and record again"
        )


def _resampled(
    source: Source, survey: Survey, mix: Mix, start: int, stop: int
) -> tuple[npt.NDArray[np.float32], tuple[Problem, ...]]:
    import soxr

    weights = mix.weights.astype(np.float32)
    offset = np.float32(mix.weights @ survey.offset)
    used = np.flatnonzero(weights)
    stream = None
    if source.sample_rate_hz != WORKING_RATE_HZ:
        stream = soxr.ResampleStream(source.sample_rate_hz, WORKING_RATE_HZ, 1, dtype="float32", quality="HQ")
    pieces = []
    for block in read_blocks(source, start, stop):
        # Summed channel by channel: a matrix product may round differently from machine to machine.
        mono = block[:, used[0]] * weights[used[0]]
        for channel in used[1:]:
            mono += block[:, channel] * weights[channel]
        mono -= offset
        pieces.append(stream.resample_chunk(mono) if stream else mono)
    if stream:
        pieces.append(stream.resample_chunk(np.zeros(0, dtype=np.float32), last=True))
    samples = np.concatenate(pieces)
    peak = float(survey.peak[used].max())
    if peak <= HIGHEST_PEAK:
        return samples, ()
    samples /= np.float32(peak)
    message = f"The samples reach {peak:.4g} times full scale and were scaled down to it."
    return samples, (Problem("over_full_scale", message),)


def _shortfall(source: Source, survey: Survey, start: int, stop: int) -> tuple[Problem, ...]:
    """Report a file that ends before its header says."""
    rate = source.sample_rate_hz
    end = start + survey.frames
    if survey.frames < stop - start:
        promised = source.frames
    elif source.promised_frames > source.frames:
        promised, end = source.promised_frames, source.frames
    else:
        return ()
    message = (
        f"The file is cut short: it promises {promised / rate:.3f} s, {end / rate:.3f} s can be read. "
        "Copy or export it again if the end is missing."
    )
    return (Problem("truncated", message, round(end / rate, 3), round(promised / rate, 3)),)
