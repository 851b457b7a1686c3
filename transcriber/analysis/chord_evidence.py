"""What chords say for each key: their tones in and out of its scale, and what they do in it.

Tones outside the scale are not all alike (common practice): minor takes its fourth degree's chord with the
raised sixth, as in the vamp i7 IV7; a blues takes dominant sevenths on all three of its chords; and a
dominant seventh may be applied to any chord of the key that it falls to by a fifth. The tonic chord is told
by the time spent on it, by its place as first and last chord, and by cadences.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from transcriber.analysis.chords import ChordSymbol, parse_chord
from transcriber.analysis.scales import Scale
from transcriber.records.analysed import ChordSpan, KeyMode

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

PRICES = ("chord_outside", "chord_sixth", "chord_blue", "chord_applied", "chord_absent")
"""Columns that speak against a key: chord tones outside its scale (mean over the take; the raised seventh of
minor is none); apart from them the third of IV in minor, in mixolydian the seventh of IV7 and the third of
V7, and the tones of applied dominants; and 1 where the tonic chord is never heard."""

WORTHS = ("chord_tonic", "chord_first", "chord_last", "chord_cadence", "chord_close")
"""Columns that speak for it: share of time on the tonic chord, 1 where it is the first or the last chord, the
share of changes that lead to it from the major chord a fifth above, and from a fourth above or a whole tone
below."""

WITH_MAJOR_THIRD: frozenset[KeyMode] = frozenset({"major", "mixolydian", "lydian"})
# Semitones above the tonic, or above a root.
_BLUE_THIRD = _MINOR_THIRD = 3
_MAJOR_THIRD, _FOURTH, _FIFTH, _RAISED_SIXTH, _SUBTONIC, _RAISED_SEVENTH = 4, 5, 7, 9, 10, 11
# Tones outside a mode that are usual in it: mode, degree of the chord's root, degree of the tone.
_USUAL: tuple[tuple[KeyMode, int, int], ...] = (
    ("minor", _FOURTH, _RAISED_SIXTH),
    ("mixolydian", _FOURTH, _BLUE_THIRD),
    ("mixolydian", _FIFTH, _RAISED_SEVENTH),
)


@dataclass(frozen=True)
class _Moves:
    """Every different chord with the one after it, seen from each of the twelve tonics.

    Attributes
    ----------
    tones, next_tones : array, shape (12, moves, 12)
        1 where the chord has the degree (semitones above the tonic).
    roots, next_roots : array, shape (12, moves)
        Degree of the root.
    thirds, next_thirds : array, shape (moves,)
        4 or 3 by the chord's third; 0 where it has none.
    falls : array, shape (moves,)
        Whether a dominant seventh falls by a fifth.
    shares, changes : array, shape (moves,)
        Shares of the take's time, and of its changes of chord.
    """

    tones: FloatArray
    next_tones: FloatArray
    roots: IntArray
    next_roots: IntArray
    thirds: IntArray
    next_thirds: IntArray
    falls: npt.NDArray[np.bool_]
    shares: FloatArray
    changes: FloatArray


def chord_evidence(modes: Sequence[KeyMode], chords: Sequence[ChordSpan]) -> FloatArray:
    """Tell what chords say for each key.

    Parameters
    ----------
    modes : sequence of KeyMode
    chords : sequence of ChordSpan
        At least one, in order.

    Returns
    -------
    array, shape (modes, 12 tonics, columns)
        The columns are `PRICES` and then `WORTHS`, all at least 0.
    """
    moves = _moves(chords)
    ends = parse_chord(chords[0].name), parse_chord(chords[-1].name)
    return np.stack([np.stack(_prices(mode, moves) + _worths(mode, moves, *ends), axis=-1) for mode in modes])


def _moves(chords: Sequence[ChordSpan]) -> _Moves:
    beats: dict[tuple[str, str], float] = defaultdict(float)
    times: Counter[tuple[str, str]] = Counter()
    for chord, after in pairwise([*chords, chords[-1]]):
        beats[chord.name, after.name] += float(chord.length)
        times[chord.name, after.name] += chord.name != after.name
    ones = [parse_chord(one) for one, _ in beats]
    twos = [parse_chord(two) for _, two in beats]
    roots, next_roots = (np.array([each.root_class for each in symbols]) for symbols in (ones, twos))
    sevenths = np.array([{4, 10} <= set(each.steps) for each in ones])
    shares = np.array(list(beats.values()), dtype=np.float64)
    changes = np.array(list(times.values()), dtype=np.float64)
    tonics = np.arange(12)[:, None]
    return _Moves(
        _from_each_tonic(ones),
        _from_each_tonic(twos),
        (roots - tonics) % 12,
        (next_roots - tonics) % 12,
        np.array([_third(each) for each in ones]),
        np.array([_third(each) for each in twos]),
        sevenths & ((next_roots - roots) % 12 == _FOURTH),
        shares / shares.sum(),
        changes / max(1.0, changes.sum()),
    )


def _from_each_tonic(symbols: Sequence[ChordSymbol]) -> FloatArray:
    tones = np.array([[float(pitch in each.classes) for pitch in range(12)] for each in symbols])
    return np.stack([np.roll(tones, -tonic, axis=1) for tonic in range(12)])


def _third(symbol: ChordSymbol) -> int:
    return next((step for step in (4, 3) if step in symbol.steps), 0)


def _prices(mode: KeyMode, moves: _Moves) -> list[FloatArray]:
    outside = np.ones(12)
    outside[list(Scale("C", mode).steps)] = 0.0
    if mode not in WITH_MAJOR_THIRD:
        outside[_RAISED_SEVENTH] = 0.0
    tones = moves.tones * outside
    in_key = (moves.next_tones @ outside) == 0
    apart = []
    for name, root, degree in _USUAL:
        usual = np.where(moves.roots == root, tones[:, :, degree], 0.0) * (mode == name)
        tones[:, :, degree] -= usual
        apart.append(usual)
    sixth, blue = apart[0], apart[1] + apart[2]
    left = tones.sum(axis=-1)
    applied = np.where(moves.falls & in_key, left, 0.0)
    of_tonic = _is_tonic(mode, moves.roots, moves.thirds)
    absent = 1.0 - of_tonic.max(axis=1)
    return [each @ moves.shares for each in (left - applied, sixth, blue, applied)] + [absent]


def _worths(mode: KeyMode, moves: _Moves, first: ChordSymbol, last: ChordSymbol) -> list[FloatArray]:
    tonics = np.arange(12)
    of_tonic = _is_tonic(mode, moves.roots, moves.thirds)
    ends = [
        _is_tonic(mode, (each.root_class - tonics) % 12, np.array(_third(each))) for each in (first, last)
    ]
    arrives = _is_tonic(mode, moves.next_roots, moves.next_thirds)
    dominant = (moves.roots == _FIFTH) & (moves.thirds == _MAJOR_THIRD)
    softer = (moves.roots == _FOURTH) | (moves.roots == _SUBTONIC)
    closes = [(arrives * each) @ moves.changes for each in (dominant, softer)]
    return [of_tonic @ moves.shares, *ends, *closes]


def _is_tonic(mode: KeyMode, roots: IntArray, thirds: IntArray) -> FloatArray:
    """1 where a chord stands on the tonic and its third, if it has one, is that of the mode."""
    wrong = _MINOR_THIRD if mode in WITH_MAJOR_THIRD else _MAJOR_THIRD
    return np.asarray((roots == 0) & (thirds != wrong), dtype=np.float64)
