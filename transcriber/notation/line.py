"""The onsets of a take that stand in the meter, with what else tells of their place."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from transcriber.notation.vocabulary import FloatArray
from transcriber.records.heard import HeardNote

_SLURRED = ("hammer_on", "pull_off", "slide")
_NEIGHBOURS = 6  # notes to each side that an accent is measured against


@dataclass(frozen=True)
class Line:
    """The notes that stand in the meter, columns of shape (n,).

    Attributes
    ----------
    index : list of int
        Which of the take's notes.
    onsets_s, ends_s : ndarray
    accents : ndarray
        Velocity as a standard score.
    doubt : ndarray
        Log odds that the onset is no note, against an even chance.
    """

    index: list[int]
    onsets_s: FloatArray
    ends_s: FloatArray
    accents: FloatArray
    doubt: FloatArray

    def at(self, onsets_s: FloatArray, ends_s: FloatArray) -> Line:
        """The same notes at other times."""
        return replace(self, onsets_s=onsets_s, ends_s=ends_s)


def line_of(notes: tuple[HeardNote, ...]) -> Line:
    """Take the notes that are no graces."""
    index = [i for i, note in enumerate(notes) if not note.has("grace")]
    onsets = np.maximum.accumulate(np.array([notes[i].onset_s for i in index], dtype=np.float64))
    ends = np.array([notes[i].end_s for i in index], dtype=np.float64)
    velocity = np.array([float(notes[i].velocity) for i in index])
    picked = np.array([not notes[i].has(*_SLURRED) for i in index], dtype=bool)
    sure = np.clip(np.array([notes[i].onset_confidence for i in index]), 0.05, 0.95)
    # Half a chance says nothing; a doubtful onset is left out more readily, a sure one less so.
    doubt = np.log((1.0 - sure) / 0.5)
    return Line(index, onsets, np.maximum(ends, onsets), accents_of(velocity, picked), np.minimum(doubt, 1.0))


def accents_of(velocity: FloatArray, picked: npt.NDArray[np.bool_]) -> FloatArray:
    """Velocity of picked notes against their neighbours', as a standard score clipped to 2.

    Neighbours, so that swells don't count; a slurred note is soft wherever it stands and scores 0.
    """
    n = len(velocity)
    total = np.concatenate([[0.0], np.cumsum(velocity * picked)])
    count = np.concatenate([[0], np.cumsum(picked)])
    low = np.maximum(np.arange(n) - _NEIGHBOURS, 0)
    high = np.minimum(np.arange(n) + _NEIGHBOURS + 1, n)
    apart = (velocity - (total[high] - total[low]) / np.maximum(count[high] - count[low], 1)) * picked
    spread = float(np.sqrt(np.mean(apart[picked] ** 2))) if picked.any() else 0.0
    return np.asarray(np.clip(apart / max(spread, 3.0), -2.0, 2.0))
