"""Octave slips of the pitch within one sounding: an overtone taken for a note while the string rings on.

As a note dies away its fundamental may sink below its overtones, beat, and come back: the pitch seems to
leap by an octave or a twelfth although nothing was played. Whatever a hand does (picks, hammers, pulls off,
touches a node) changes some partial at once.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from transcriber.listening.strokes import NoteInMaking
from transcriber.listening.timbre import partial_levels
from transcriber.records.take import Take

_INTERVALS = (12, 19, 24, 28, 31)  # semitones of the overtones 2 to 6
_SAME_SOUNDING_S = 0.1
_APART_S = 0.015
_WINDOW_S = 0.093
_STANDS_S = 0.1
_SUDDEN_DB = 6.0
_PARTIALS = 6


def without_overtones(
    notes: list[NoteInMaking], take: Take, times_s: np.ndarray, hertz_of: Callable[[int], float]
) -> list[NoteInMaking]:
    """Join a note to the one before where its pitch is but an overtone of what still sounds, or the reverse.

    Parameters
    ----------
    notes : list of NoteInMaking
        In order; a note that takes in the next one is changed in place.
    take : Take
    times_s : ndarray of float64, shape (n,)
        Time of each frame in the file.
    hertz_of : callable
        Frequency of a MIDI number at the take's tuning.

    Returns
    -------
    list of NoteInMaking
    """
    kept: list[NoteInMaking] = []
    for index, note in enumerate(notes):
        # Beside the note before as it was heard: what slipped up comes down again.
        if not index or not _slips(notes[index - 1], note, take, times_s, hertz_of):
            kept.append(note)
            continue
        whole = kept[-1]
        # Where it begins a note is loudest and its pitch plainest, if it stands long enough to be one.
        if times_s[whole.last - 1] - times_s[whole.onset] < _STANDS_S:
            whole.pitch = note.pitch
        whole.last = note.last
    return kept


def _slips(
    before: NoteInMaking,
    note: NoteInMaking,
    take: Take,
    times_s: np.ndarray,
    hertz_of: Callable[[int], float],
) -> bool:
    """Whether the pitch leaps by an overtone's interval while every partial goes on as it was."""
    if abs(note.pitch - before.pitch) not in _INTERVALS:
        return False
    onset_s = float(times_s[note.onset])
    if onset_s - float(times_s[min(before.last, len(times_s) - 1)]) > _SAME_SOUNDING_S:
        return False
    lower_hz = hertz_of(min(note.pitch, before.pitch))
    levels = (
        partial_levels(take, onset_s - _APART_S - _WINDOW_S, lower_hz, _PARTIALS),
        partial_levels(take, onset_s + _APART_S, lower_hz, _PARTIALS),
    )
    if levels[0] is None or levels[1] is None:
        return False
    return bool(np.max(np.abs(levels[1] - levels[0])) < _SUDDEN_DB)
