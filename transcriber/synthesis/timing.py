"""When written notes are played: beats of a slowly drifting tempo, swing, and the spread of onsets.

Swing: the second eighth of a quarter comes late, at ratio long:short (Friberg and Sundstrom 2002). Positions
that divide the quarter by powers of two are moved with it; triplets stay even.
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from transcriber.records.line import Line
from transcriber.synthesis.line_check import has
from transcriber.synthesis.style import PlayingStyle

FloatArray = npt.NDArray[np.float64]

# The tempo returns to its mean over about this many tapped beats.
_DRIFT_MEMORY = 0.9
# Chance may move neighbouring notes together, but never closer than this share of their distance.
_CLOSEST_SHARE = 0.6
_LARGEST_DEVIATION_SD = 2.5
_BEATS_AFTER = 1


def beat_times(line: Line, style: PlayingStyle, rng: np.random.Generator) -> tuple[FloatArray, int]:
    """Times of the denominator beats of a performance.

    Parameters
    ----------
    line : Line
    style : PlayingStyle
    rng : Generator

    Returns
    -------
    beats_s : ndarray, shape (n,)
        Ascending; the first is the beat in which the first note stands, at `style.lead_in_s`.
    first_beat : int
        Beats from beat 1 of bar 1 of the first.
    """
    first_beat = math.floor(line.notes[0].start)
    last_beat = max(math.ceil(note.start + note.length) for note in line.notes) + _BEATS_AFTER
    intervals = last_beat - first_beat
    shocks = rng.normal(0.0, 1.0, intervals) * math.sqrt(1.0 - _DRIFT_MEMORY**2)
    deviation = np.zeros(intervals)
    for index in range(1, intervals):
        deviation[index] = _DRIFT_MEMORY * deviation[index - 1] + shocks[index]
    beat_s = 60.0 / line.tempo_bpm / line.meter.tap
    steps = beat_s * (1.0 + style.tempo_drift * np.clip(deviation, -3.0, 3.0))
    return style.lead_in_s + np.concatenate([[0.0], np.cumsum(steps)]), first_beat


def time_of_beat(line: Line, position: Fraction, beats_s: FloatArray, first_beat: int) -> float:
    """Time of a written position, swing applied; linear between beats."""
    beat = swung(position, line) - first_beat
    return float(np.interp(beat, np.arange(len(beats_s)), beats_s))


def swung(position: Fraction, line: Line) -> float:
    """Move a written position, in denominator beats, to where swing puts it."""
    if line.swing is None or line.meter.compound:
        return float(position)
    quarter = Fraction(line.meter.unit, 4)
    whole, within = divmod(position / quarter, 1)
    if within.denominator & (within.denominator - 1):
        return float(position)
    off_beat = line.swing / (1.0 + line.swing)
    if within <= Fraction(1, 2):
        moved = float(within) * 2.0 * off_beat
    else:
        moved = off_beat + (float(within) - 0.5) * 2.0 * (1.0 - off_beat)
    return (float(whole) + moved) * float(quarter)


def note_onsets(
    line: Line, style: PlayingStyle, beats_s: FloatArray, first_beat: int, rng: np.random.Generator
) -> FloatArray:
    """Times at which the notes of a line are played.

    Parameters
    ----------
    line : Line
    style : PlayingStyle
    beats_s, first_beat
        From `beat_times`.
    rng : Generator

    Returns
    -------
    ndarray, shape (number of notes,)
        Strictly ascending. Graces come before the note they decorate, `style.grace_s` each.
    """
    due = np.array([time_of_beat(line, note.start, beats_s, first_beat) for note in line.notes])
    bound = _LARGEST_DEVIATION_SD * style.timing_sd_s
    jitter = np.clip(rng.normal(0.0, 1.0, len(due)) * style.timing_sd_s, -bound, bound)
    for index in range(len(due) - 2, -1, -1):
        if has(line.notes[index], "grace"):
            earlier = due[index - 1] if index else due[index + 1] - 1.0
            room = 0.5 * (due[index + 1] - earlier)
            due[index] = due[index + 1] - min(style.grace_s * rng.uniform(0.85, 1.15), room)
            jitter[index] = jitter[index + 1]
    onsets = np.maximum(due + jitter + style.lag_s, 0.0)
    for index in range(1, len(onsets)):
        closest = onsets[index - 1] + _CLOSEST_SHARE * (due[index] - due[index - 1])
        onsets[index] = max(onsets[index], closest)
    return onsets
