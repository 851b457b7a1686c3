"""The onsets of a take that stand in the meter, with what else tells of their place."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from transcriber.notation.vocabulary import FloatArray
from transcriber.records.heard import HeardNote

_SLURRED = ("hammer_on", "pull_off", "slide")
_ORNAMENT_S = 0.06  # a shorter step to the next note is none that a player counts
_ALONE = 2.0  # in a run the neighbours are as short
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

    def since(self, first: int) -> Line:
        """The notes from one on."""
        return Line(
            self.index[first:],
            self.onsets_s[first:],
            self.ends_s[first:],
            self.accents[first:],
            self.doubt[first:],
        )


def line_of(notes: tuple[HeardNote, ...]) -> Line:
    """Take the notes that are no graces, neither said to be nor by their timing."""
    index = [i for i, note in enumerate(notes) if not note.has("grace")]
    ornaments = _ornaments([notes[i] for i in index])
    index = [i for i, ornament in zip(index, ornaments, strict=True) if not ornament]
    onsets = np.maximum.accumulate(np.array([notes[i].onset_s for i in index], dtype=np.float64))
    ends = np.array([notes[i].end_s for i in index], dtype=np.float64)
    velocity = np.array([float(notes[i].velocity) for i in index])
    picked = np.array([not notes[i].has(*_SLURRED) for i in index], dtype=bool)
    sure = np.clip(np.array([notes[i].onset_confidence for i in index]), 0.05, 0.95)
    # Half a chance says nothing; a doubtful onset is left out more readily, a sure one less so.
    doubt = np.log((1.0 - sure) / 0.5)
    return Line(index, onsets, np.maximum(ends, onsets), accents_of(velocity, picked), np.minimum(doubt, 1.0))


def _ornaments(notes: list[HeardNote]) -> list[bool]:
    """Whether each note is so short before the next, and so alone in that, that it only decorates it."""
    gaps = [after.onset_s - note.onset_s for note, after in pairwise(notes)]
    found = []
    for i in range(len(notes)):
        gap = gaps[i] if i < len(gaps) else np.inf
        around = [gaps[k] for k in (i - 1, i + 1) if 0 <= k < len(gaps)]
        found.append(0 < gap <= _ORNAMENT_S and bool(around) and min(around) > _ALONE * gap)
    return found


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
