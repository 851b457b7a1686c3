"""How sure listening is of each note: monotone in the evidence, 0 to 1, in a first form."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from transcriber.listening.pieces import Piece
from transcriber.listening.settings import ListeningSettings
from transcriber.records.technique import Technique

FloatArray = npt.NDArray[np.float64]

_BENT = ("bend", "pre_bend", "release")


def pitch_confidence(
    cents: FloatArray, periodicity: FloatArray, techniques: Sequence[Technique] = ()
) -> float:
    """Confidence in a note's pitch: periodic sound, near a semitone, for long enough.

    Parameters
    ----------
    cents : ndarray, shape (n,)
        Contour against the note's pitch, NaN where unvoiced.
    periodicity : ndarray, shape (n,)
        0 to 1.
    techniques : sequence of Technique
        A bent string is not off its pitch where it stands as high as it was bent.
    """
    known = ~np.isnan(cents)
    if not known.any():
        return 0.2
    clear = float(np.median(periodicity[known]))
    stands = np.array([0.0, *(100.0 * (t.semitones or 0.0) for t in techniques if t.kind in _BENT)])
    off = cents[known][:, None] - stands
    off = np.take_along_axis(off, np.abs(off).argmin(axis=1)[:, None], axis=1)[:, 0]
    away = float(np.min(np.abs(np.percentile(off, [15, 30, 50]))))
    near = float(np.exp(-((away / 45.0) ** 2)))
    enough = 1.0 - float(np.exp(-known.sum() / 6.0))
    return float(np.clip(clear**2 * near * (0.4 + 0.6 * enough), 0.02, 0.995))


def onset_confidence(piece: Piece, picked: bool, settings: ListeningSettings) -> float:
    """Confidence that a note begins here: strength of its attack, or size of the step in pitch."""
    attack = piece.signs.rise / settings.picked_rise
    step = abs(piece.signs.change) if not picked else 0.0
    return float(np.clip(1.0 - np.exp(-1.6 * (attack + step)), 0.05, 0.995))


def technique_confidence(piece: Piece, picked: bool, doubt: float) -> float:
    """Confidence in how a note was sounded: distance from the nearest other reading."""
    margin = abs(piece.pick_odds) if picked or piece.begins == "joined" else 4.0
    return float(np.clip((1.0 / (1.0 + np.exp(-margin))) * (1.0 - 0.6 * doubt), 0.05, 0.99))
