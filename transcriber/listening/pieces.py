"""Cutting the contour into pieces: stretches of one sound, each begun by a pick or joined to the one before."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d

from transcriber.listening.attacks import AttackStrength
from transcriber.listening.contour import unbroken_runs
from transcriber.listening.decisions import decision, pick_features
from transcriber.listening.settings import ListeningSettings
from transcriber.listening.signs import NO_SIGNS, Signs

FloatArray = npt.NDArray[np.float64]
Begins = Literal["picked", "joined"]

_WEAKEST_RISE = 0.05
_PEAK_REACH = 4  # frames on each side in which an attack must be the strongest
_BEFORE, _AFTER = 8, 3  # frames around a voiced start in which its attack may lie
_BLUR = 3  # frames on each side of an attack in which the pitch window holds both sounds
_SLIPS = (12.0, 19.02, 24.0)  # octave, octave and fifth, two octaves: what a tracker slips to


@dataclass(frozen=True)
class Piece:
    """One unbroken sound.

    Attributes
    ----------
    first, last : int
        First frame with pitch and the frame after the last.
    onset : int
        Frame at which it begins to sound (of its attack, if it has one).
    begins : {"picked", "joined"}
    signs : Signs
        At its beginning.
    pick_odds : float
        Log odds that it was picked rather than slurred or slid into.
    """

    first: int
    last: int
    onset: int
    begins: Begins
    signs: Signs
    pick_odds: float


def attack_peaks(strength: AttackStrength) -> npt.NDArray[np.int64]:
    """Frames at which the attack strength peaks."""
    rise = strength.rise
    floor = _WEAKEST_RISE + 3.0 * float(np.median(rise)) if len(rise) else 0.0
    top = maximum_filter1d(rise, 2 * _PEAK_REACH + 1, mode="constant")
    return np.nonzero((rise >= floor) & (rise == top))[0].astype(np.int64)


def fitted_pick_odds(signs: Signs) -> float:
    """Log odds that a change of pitch was picked, by the fitted decision."""
    return decision("picked").log_odds(pick_features(signs))


def find_pieces(
    pitch: FloatArray,
    strength: AttackStrength,
    frame_s: float,
    settings: ListeningSettings,
    changed_pick_odds: Callable[[Signs], float] = fitted_pick_odds,
) -> list[Piece]:
    """Cut the contour into pieces.

    Parameters
    ----------
    pitch : ndarray of float64, shape (n,)
        Semitones of each frame, NaN where unvoiced.
    strength : AttackStrength
    frame_s : float
        Seconds between frames.
    settings : ListeningSettings
    changed_pick_odds : callable
        Log odds that a piece at another pitch than the one before was picked, from the signs between them.
    """
    peaks = attack_peaks(strength)
    spans = _split_at_attacks(unbroken_runs(pitch, settings.step), peaks, strength, settings)
    spans = _without_noise(spans, pitch, strength, frame_s, settings)
    typical = float(np.percentile(strength.rise[peaks], 75)) if len(peaks) else 1.0
    pieces: list[Piece] = []
    for first, last in spans:
        onset = _onset_frame(first, pieces[-1].last if pieces else 0, peaks, strength)
        if not pieces:
            pieces.append(Piece(first, last, onset, "picked", NO_SIGNS, 9.0))
            continue
        signs = _signs(pieces[-1], first, last, onset, pitch, strength, frame_s, typical)
        if _is_dropout(signs, settings):
            pieces[-1] = replace(pieces[-1], last=last)
            continue
        odds = _pick_odds(signs, settings, changed_pick_odds)
        pieces.append(Piece(first, last, onset, "picked" if odds > 0 else "joined", signs, odds))
    return pieces


def _split_at_attacks(
    runs: list[tuple[int, int]],
    peaks: npt.NDArray[np.int64],
    strength: AttackStrength,
    settings: ListeningSettings,
) -> list[tuple[int, int]]:
    """Split runs where a held pitch is picked again."""
    spans = []
    strong = peaks[strength.rise[peaks] >= settings.repick_rise]
    for first, last in runs:
        begin = first
        for peak in strong[(strong > first + _AFTER) & (strong < last)]:
            if peak - begin >= 2:
                spans.append((begin, max(int(peak) - _BLUR, begin + 1)))
                begin = min(int(peak) + _BLUR, last - 1)
        if last - begin >= 2:
            spans.append((begin, last))
    return spans


def _without_noise(
    spans: list[tuple[int, int]],
    pitch: FloatArray,
    strength: AttackStrength,
    frame_s: float,
    settings: ListeningSettings,
) -> list[tuple[int, int]]:
    """Leave out what is too short, too quiet, or a slip of the tracker to a multiple of its neighbours."""
    if not spans:
        return []
    loudest = max(float(strength.level_db[first:last].max()) for first, last in spans)
    kept = []
    for index, (first, last) in enumerate(spans):
        quiet = float(strength.level_db[first:last].max()) < loudest + settings.quiet_note_db
        short = (last - first) * frame_s < settings.shortest_note_s
        if not quiet and not short and not _is_slip(spans, index, pitch, frame_s):
            kept.append((first, last))
    return kept


def _is_slip(spans: list[tuple[int, int]], index: int, pitch: FloatArray, frame_s: float) -> bool:
    """Whether a short span stands a multiple of the frequency away from the spans that touch it."""
    first, last = spans[index]
    if (last - first) * frame_s > 0.06:
        return False
    level = float(np.median(pitch[first:last]))
    beside = []
    if index > 0 and first - spans[index - 1][1] <= 2:
        beside.append(float(pitch[spans[index - 1][1] - 1]))
    if index + 1 < len(spans) and spans[index + 1][0] - last <= 2:
        beside.append(float(pitch[spans[index + 1][0]]))
    return any(abs(abs(level - other) - slip) < 0.6 for other in beside for slip in _SLIPS)


def _onset_frame(first: int, earliest: int, peaks: npt.NDArray[np.int64], strength: AttackStrength) -> int:
    """Frame of the strongest attack near a voiced start, or the start itself."""
    near = peaks[(peaks >= max(first - _BEFORE, earliest)) & (peaks <= first + _AFTER)]
    return int(near[strength.rise[near].argmax()]) if len(near) else first


def _signs(
    before: Piece,
    first: int,
    last: int,
    onset: int,
    pitch: FloatArray,
    strength: AttackStrength,
    frame_s: float,
    typical_rise: float,
) -> Signs:
    around = slice(max(min(onset, first) - 2, 0), max(onset, first) + 3)
    held = strength.level_db[max(before.first, before.last - 8) : max(before.last - 2, before.first + 1)]
    level_before = float(np.median(held))
    level_after = float(strength.level_db[first : min(first + 10, last)].max())
    trough = float(strength.level_db[max(before.last - 4, before.first) : first + 1].min())
    rise = float(strength.rise[around].max())
    return Signs(
        rise,
        float(strength.high_rise[around].max()),
        rise / max(typical_rise, 0.05),
        level_after - level_before,
        level_before - trough,
        *_transient(strength, onset),
        (first - before.last) * frame_s,
        _level(pitch[first : min(first + 12, last)])
        - _level(pitch[max(before.last - 12, before.first) : before.last]),
    )


def _transient(strength: AttackStrength, onset: int) -> tuple[float, float, float]:
    """Gain of high frequencies at an onset, and what they and the whole sound lose again soon after, in dB."""
    before = slice(max(onset - 8, 0), max(onset - 3, 1))
    at = slice(max(onset - 1, 0), onset + 5)
    after = slice(min(onset + 9, len(strength.rise) - 1), onset + 15)
    high, level = strength.high_level_db, strength.level_db
    peak = float(high[at].max())
    return (
        peak - float(np.median(high[before])),
        peak - float(np.median(high[after])),
        float(level[at].max()) - float(np.median(level[after])),
    )


def _level(values: FloatArray) -> float:
    return float(np.nanmedian(values))


def _is_dropout(signs: Signs, settings: ListeningSettings) -> bool:
    """Whether the boundary is only a hole in the track of one held note."""
    return (
        abs(signs.change) < settings.same_pitch
        and signs.rise < settings.repick_rise
        and signs.gap_s <= settings.dropout_s
        and signs.jump_db < settings.picked_jump_db
    )


def _pick_odds(
    signs: Signs, settings: ListeningSettings, changed_pick_odds: Callable[[Signs], float]
) -> float:
    """Log odds that a piece was picked, from the signs at its beginning; above 0 means picked."""
    if signs.gap_s >= settings.picked_gap_s and signs.rise >= _WEAKEST_RISE:
        return 4.0
    if abs(signs.change) < settings.same_pitch:
        return 3.0
    return changed_pick_odds(signs)
