"""Notes whose pitch is hardly one: strings sounding together that look like a note of their common period."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from transcriber.records.heard import HeardNote
from transcriber.records.problem import Problem

# Of 3,862 right notes that are not bent (accuracy bench, fit split) none lies below the first; those of 0.3 s
# and more reach 0.8.
_UNCLEAR, _UNCLEAR_IF_LONG = 0.45, 0.75
_LONG_S, _LASTING_S = 0.3, 0.15
_OFF_CENTS, _STEADY_CENTS = 25.0, 10.0
_FAINT_VELOCITY = 50
_TOLD_S = 0.1
_MOVING = ("bend", "pre_bend", "release", "vibrato", "trill", "dead_note", "natural_harmonic")


def unclear_notes(notes: Sequence[HeardNote], told: Sequence[Problem]) -> tuple[Problem, ...]:
    """Tell of notes without a clear pitch, one problem for each run of them.

    Parameters
    ----------
    notes : sequence of HeardNote
        In order.
    told : sequence of Problem
        What was noticed already; a run at whose beginning something was told is left out.
    """
    runs: list[list[HeardNote]] = []
    for before, note in zip([None, *notes], notes, strict=False):
        if not _is_unclear(note):
            continue
        if before is not None and runs and runs[-1][-1] is before:
            runs[-1].append(note)
        else:
            runs.append([note])
    return tuple(_unclear(run[0].onset_s) for run in runs if _lasts(run) and not _is_told(run, told))


def _is_unclear(note: HeardNote) -> bool:
    least = _UNCLEAR_IF_LONG if note.end_s - note.onset_s >= _LONG_S else _UNCLEAR
    return (
        note.velocity >= _FAINT_VELOCITY
        and note.pitch_confidence < least
        and note.second_midi is None
        and not note.has(*_MOVING)
        and not _is_off_pitch(note)
    )


def _is_off_pitch(note: HeardNote) -> bool:
    """Whether a note is unsure only because it stands, steadily, between two frets."""
    cents = note.contour_cents[~np.isnan(note.contour_cents)]
    if not len(cents):
        return False
    low, middle, high = np.percentile(cents, [25, 50, 75])
    return bool(abs(middle) > _OFF_CENTS and high - low < _STEADY_CENTS)


def _lasts(run: Sequence[HeardNote]) -> bool:
    return run[-1].end_s - run[0].onset_s >= _LASTING_S


def _is_told(run: Sequence[HeardNote], told: Sequence[Problem]) -> bool:
    return any(
        problem.start_s is not None and run[0].onset_s - _TOLD_S <= problem.start_s <= run[-1].end_s
        for problem in told
    )


def _unclear(at_s: float) -> Problem:
    message = f"the pitch at {at_s:.2f} s is not clear, as when several strings sound together; check by ear"
    return Problem("unclear_pitch", message, at_s, at_s)
