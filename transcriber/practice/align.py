"""Which note of the attempt is which note of the line, whatever the tempo, stops, restarts and gaps.

A dynamic program over pairs (played note, wanted note), after Needleman and Wunsch (J. Mol. Biol. 48, 1970),
with jumps back for a passage that is begun again and capped gaps for one that is left out, as score followers
have them (Nakamura et al., "Real-time audio-to-score alignment of music performances containing errors and
arbitrary repeats and skips", IEEE/ACM TASLP 24, 2016). Costs are in units of one note left out.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.practice.doubts import Doubts
from transcriber.practice.pairing import cheapest_pairs
from transcriber.practice.wanted import Wanted
from transcriber.records.heard import HeardNote

FloatArray = npt.NDArray[np.float64]

WRONG_NEAR, WRONG, WRONG_OCTAVE, DEAD = 1.1, 1.45, 0.7, 0.4
FAINT, FAINT_WRONG = 0.3, 3.0
LONGEST_SHIFT, GRAM, CANDIDATES = 24, 3, 2
# A shift of the whole line is believed when it takes off so much of the cost that there is without.
SHIFT_MUST_WIN, SHIFT_LEAST = 0.8, 1.0
# So large a share of the figures at their own pitch leave no question.
PLAINLY_NONE = 0.5
_TEMPO_ROUNDS = 3


@dataclass(frozen=True)
class Alignment:
    """What belongs together.

    Attributes
    ----------
    pairs : tuple of (int, int)
        Played and wanted note, in order of playing; wanted numbers fall back where a passage is begun again.
    shift : int
        Semitones by which the whole attempt is higher.
    beat_s : float
        The student's beat (denominator beat), seconds.
    """

    pairs: tuple[tuple[int, int], ...]
    shift: int
    beat_s: float


def align(
    played: Sequence[HeardNote], wanted: Sequence[Wanted], beat_s: float, doubts: Doubts | None = None
) -> Alignment:
    """Find what belongs together.

    Parameters
    ----------
    played : sequence of HeardNote
        In order of onset.
    wanted : sequence of Wanted
    beat_s : float
        Seconds a denominator beat lasts in the reference; the student's own is found out.
    doubts : Doubts, optional
        About the played notes.
    """
    if not played or not wanted:
        return Alignment((), 0, beat_s)
    doubts = doubts or Doubts.none(len(played))
    sure = [note for i, note in enumerate(played) if doubts.extra_cost[i] >= 1.0]
    shift = line_shift(sure, wanted, np.arange(len(sure) + 1.0)) if sure else 0
    pitch_costs = _pitch_costs(played, wanted, shift)
    pitch_costs += np.where(doubts.faint[:, None], np.where(pitch_costs > 0, FAINT_WRONG, FAINT), 0.0)
    extra = np.concatenate([[0.0], np.cumsum(doubts.extra_cost)])
    pairs, _ = cheapest_pairs(played, wanted, pitch_costs, extra, None)
    found = beat_s
    for _ in range(_TEMPO_ROUNDS):
        found = _beat_of(played, wanted, pairs, pitch_costs, found)
        again, _ = cheapest_pairs(played, wanted, pitch_costs, extra, found)
        if again == pairs:
            break
        pairs = again
    return Alignment(tuple(pairs), shift, found)


def line_shift(played: Sequence[HeardNote], wanted: Sequence[Wanted], extra: FloatArray) -> int:
    """Semitones by which an attempt is transposed: the shift at which the line explains it best.

    Candidates are the commonest shifts of equal figures of a few notes, and of the single notes' pitches.
    """
    likely, plain = _likely_shifts(played, wanted)
    if plain >= PLAINLY_NONE * len(played):
        return 0
    chosen, cost = 0, cheapest_pairs(played, wanted, _pitch_costs(played, wanted, 0), extra, None)[1]
    for shift in likely:
        other = cheapest_pairs(played, wanted, _pitch_costs(played, wanted, shift), extra, None)[1]
        bound = SHIFT_MUST_WIN * cost - SHIFT_LEAST if chosen == 0 else cost
        if other < bound:
            chosen, cost = shift, other
    return chosen


def _likely_shifts(played: Sequence[HeardNote], wanted: Sequence[Wanted]) -> tuple[tuple[int, ...], int]:
    """Shifts that may be, the likeliest first, and how many figures speak for none."""
    pitched = [(each.pitch or 0) + round(each.height) for each in wanted if each.pitch is not None]
    sung = [_goal(note) for note in played]
    figures: Counter[int] = Counter()
    line: dict[tuple[int, ...], list[int]] = {}
    for place in range(len(pitched) - GRAM + 1):
        line.setdefault(_steps(pitched[place : place + GRAM]), []).append(pitched[place])
    for place in range(len(sung) - GRAM + 1):
        first = set(line.get(_steps(sung[place : place + GRAM]), []))
        figures.update({sung[place] - each for each in first})
    asked = Counter(pitched)
    single: Counter[int] = Counter()
    for pitch, times in Counter(sung).items():
        for other, often in asked.items():
            single[pitch - other] += min(times, often)
    ranked = [*_commonest(figures, CANDIDATES), *_commonest(single, CANDIDATES), 12, -12]
    likely = dict.fromkeys(shift for shift in ranked if shift and abs(shift) <= LONGEST_SHIFT)
    return tuple(likely), figures[0]


def _commonest(votes: Counter[int], count: int) -> list[int]:
    ordered = sorted(votes.items(), key=lambda item: (-item[1], abs(item[0]), item[0]))
    return [shift for shift, _ in ordered[:count]]


def _goal(note: HeardNote) -> int:
    bends = [each.semitones or 0.0 for each in note.techniques if each.kind in ("bend", "pre_bend")]
    return note.pitch_midi + round(max(bends, default=0.0))


def _steps(pitches: Sequence[int]) -> tuple[int, ...]:
    return tuple(int(pitch - pitches[0]) for pitch in pitches[1:])


def off_pitch(note: HeardNote, want: Wanted, shift: int) -> int:
    """Semitones between a played note and the nearest pitch that the wanted one may be heard at."""
    if want.pitch is None:
        return 0
    low = want.pitch + shift
    # A bend that goes too far is still that bend.
    high = low + (round(want.height) + 1 if want.height else 0)
    return min(max(note.pitch_midi, low), high) - note.pitch_midi


def _pitch_costs(played: Sequence[HeardNote], wanted: Sequence[Wanted], shift: int) -> FloatArray:
    costs = np.zeros((len(played), len(wanted)))
    for i, note in enumerate(played):
        for j, want in enumerate(wanted):
            off = abs(off_pitch(note, want, shift))
            if want.pitch is None:
                costs[i, j] = 0.0 if note.has("dead_note") else DEAD
            elif off == 0:
                costs[i, j] = 0.0
            elif off == 12:
                costs[i, j] = WRONG_OCTAVE
            else:
                costs[i, j] = WRONG_NEAR if off == 1 else WRONG
    return costs


def _beat_of(
    played: Sequence[HeardNote],
    wanted: Sequence[Wanted],
    pairs: Sequence[tuple[int, int]],
    pitch_costs: FloatArray,
    fallback: float,
) -> float:
    """Seconds a beat: the weighted median over neighbours that were both found at their pitch."""
    paces, weights = [], []
    for (i, j), (k, m) in itertools.pairwise(pairs):
        beats = wanted[m].at - wanted[j].at
        if 0 < m - j <= 2 and beats > 1e-6 and pitch_costs[i, j] + pitch_costs[k, m] == 0:
            paces.append((played[k].onset_s - played[i].onset_s) / beats)
            weights.append(beats)
    if not paces:
        return fallback
    order = np.argsort(paces)
    share = np.cumsum(np.array(weights)[order])
    return float(np.array(paces)[order][np.searchsorted(share, 0.5 * share[-1])])
