"""Cutting the contour into pieces: stretches of one sound, each picked or joined to the one before."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt
from scipy.ndimage import maximum_filter1d

from transcriber.listening.attacks import AttackStrength
from transcriber.listening.contour import unbroken_runs
from transcriber.listening.decisions import decision, pick_features, repick_features
from transcriber.listening.settings import ListeningSettings
from transcriber.listening.signs import FIRST_SIGNS, Signs, Sound, measure_signs, peak_after

FloatArray = npt.NDArray[np.float64]
Frames = npt.NDArray[np.int64]
Span = tuple[int, int]
Begins = Literal["picked", "joined"]

_WEAKEST_RISE = 0.03
_PEAK_REACH = 4  # frames on each side in which an attack must be the strongest
_BEFORE, _AFTER = 20, 3  # frames around a voiced start in which its attack may lie
_ATTACK_BEFORE = 9  # frames before the first clear pitch of a short note in which its attack lies
_BLUR = 3  # frames on each side of an attack in which the pitch window holds both sounds
_TOUCH_S, _TOUCH_BELOW_DB = 0.15, 28.0
_TAIL_S = 0.08
_LOW_PITCH, _LOW_RISE = 43.5, 0.12  # semitones; attack against the take's typical one
_TRILL_ODDS = 3.0  # log odds by which an alternation speaks against a pick
# Share of picked notes that the decision was fitted for, and how many notes' weight it has in a take.
_USUAL_SHARE, _USUAL_NOTES, _ROUNDS = 0.87, 15, 10
_SLIPS = (12.0, 19.02, 24.0, 27.86, 31.02)  # frequency ratios 2 to 6: what a tracker slips to


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


@dataclass(frozen=True)
class PickDecisions:
    """Log odds of a pick from the signs at a boundary: where the pitch changed, and where it was held."""

    changed: Callable[[Signs], float]
    held: Callable[[Signs], float]


def fitted_decisions() -> PickDecisions:
    """Return the shipped decisions."""
    return PickDecisions(
        lambda signs: decision("picked").log_odds(pick_features(signs)),
        lambda signs: decision("repicked").log_odds(repick_features(signs)),
    )


def attack_peaks(strength: AttackStrength) -> Frames:
    """Frames at which the attack strength peaks."""
    rise = strength.rise
    floor = _WEAKEST_RISE + 2.0 * float(np.median(rise)) if len(rise) else 0.0
    top = maximum_filter1d(rise, 2 * _PEAK_REACH + 1, mode="constant")
    return np.nonzero((rise >= floor) & (rise == top))[0].astype(np.int64)


def typical_rise(strength: AttackStrength) -> float:
    """Attack strength that the stronger quarter of a take's attacks reaches."""
    peaks = attack_peaks(strength)
    strong = strength.rise[peaks][strength.rise[peaks] >= 0.05]
    return float(np.percentile(strong, 75)) if len(strong) else 1.0


def typical_peak(level: FloatArray, attacks: Frames) -> float:
    """Median of what a level reaches soon after each attack; its maximum where there is none."""
    if not len(attacks):
        return float(level.max(initial=-100.0))
    return float(np.median([peak_after(level, int(frame)) for frame in attacks]))


def clear_attacks(strength: AttackStrength) -> Frames:
    """Frames of the attacks that reach half the strength typical of the take."""
    peaks = attack_peaks(strength)
    return peaks[strength.rise[peaks] >= 0.5 * typical_rise(strength)]


def find_pieces(sound: Sound, settings: ListeningSettings, decisions: PickDecisions) -> list[Piece]:
    """Cut the contour into pieces.

    Parameters
    ----------
    sound : Sound
    settings : ListeningSettings
    decisions : PickDecisions
    """
    peaks = attack_peaks(sound.strength)
    spans = _split_where_picked(unbroken_runs(sound.pitch, settings.step), peaks, sound, settings, decisions)
    spans = _without_noise(spans, peaks, sound, settings)
    pieces: list[Piece] = []
    for first, last in spans:
        onset = _onset_frame(first, pieces[-1].last if pieces else 0, peaks, sound.strength)
        if first - _BLUR < onset <= first + _AFTER:
            first = min(onset + _BLUR, last - 1)
        if not pieces:
            pieces.append(Piece(first, last, onset, "picked", FIRST_SIGNS, 9.0))
            continue
        before = pieces[-1]
        signs = measure_signs(sound, (before.first, before.last), (first, last), onset)
        if _is_dropout(signs, settings, decisions):
            pieces[-1] = replace(before, last=last)
            continue
        odds = _pick_odds(signs, settings, decisions)
        pieces.append(Piece(first, last, onset, "picked" if odds > 0 else "joined", signs, odds))
    return _with_trills(_at_share_of_take(pieces, settings), sound, settings)


def _at_share_of_take(pieces: list[Piece], settings: ListeningSettings) -> list[Piece]:
    """Decide picked or slurred anew at the share of picked notes that this take shows.

    A line full of slurs makes the next slur likelier, a line without makes it rarer: the prior is estimated
    from the decisions themselves by expectation maximisation (Saerens, Latinne and Decaestecker 2002), held
    back by as many notes at the usual share as `_USUAL_NOTES` says.
    """
    at = [
        index
        for index, piece in enumerate(pieces)
        if abs(piece.signs.change) >= settings.same_pitch and piece.signs.gap_s < settings.picked_gap_s
    ]
    if not at:
        return pieces
    odds = np.array([pieces[index].pick_odds for index in at])
    share = _USUAL_SHARE
    for _ in range(_ROUNDS):
        moved = odds + _logit(share) - _logit(_USUAL_SHARE)
        picked = float(np.sum(1.0 / (1.0 + np.exp(-moved))))
        share = (picked + _USUAL_NOTES * _USUAL_SHARE) / (len(at) + _USUAL_NOTES)
    changed = list(pieces)
    for index, own in zip(at, moved.tolist(), strict=True):
        changed[index] = replace(pieces[index], begins="picked" if own > 0 else "joined", pick_odds=own)
    return changed


def _logit(share: float) -> float:
    return float(np.log(share / (1 - share)))


def _with_trills(pieces: list[Piece], sound: Sound, settings: ListeningSettings) -> list[Piece]:
    """Take the weaker attacks of a quick alternation between two pitches for a finger's, not a pick's."""
    changed = list(pieces)
    for index in range(2, len(pieces)):
        near = pieces[index - 2 : index + 1]
        levels = [float(np.nanmedian(sound.pitch[piece.first : piece.last])) for piece in near]
        returns = abs(levels[2] - levels[0]) < settings.same_pitch
        small = settings.same_pitch <= abs(levels[1] - levels[0]) <= settings.widest_slur
        quick = all(
            (after.onset - before.onset) * sound.frame_s <= settings.trill_note_s
            for before, after in pairwise(near)
        )
        if not (returns and small and quick):
            continue
        for at in (index - 1, index):
            piece = changed[at]
            weak = piece.signs.relative_rise < settings.trill_rise and piece.pick_odds <= _TRILL_ODDS
            if piece.begins == "picked" and weak and at > 0:
                changed[at] = replace(piece, begins="joined", pick_odds=piece.pick_odds - _TRILL_ODDS)
    return changed


def _split_where_picked(
    runs: list[Span],
    peaks: Frames,
    sound: Sound,
    settings: ListeningSettings,
    decisions: PickDecisions,
) -> list[Span]:
    """Split runs where a sounding string is picked again."""
    spans = []
    for first, last in runs:
        begin = first
        for peak in peaks[(peaks > first + _AFTER) & (peaks < last)].tolist():
            if peak - begin < 2:
                continue
            stop, start = max(peak - _BLUR, begin + 1), min(peak + _BLUR, last - 1)
            signs = measure_signs(sound, (begin, stop), (start, last), peak)
            decide = decisions.changed if abs(signs.change) >= settings.same_pitch else decisions.held
            if decide(signs) > 0 and not _is_ripple(signs, float(sound.pitch[start])):
                spans.append((begin, stop))
                begin = start
        if last - begin >= 2:
            spans.append((begin, last))
    return spans


def _is_ripple(signs: Signs, pitch: float) -> bool:
    """Whether a held low note only ripples: its period outlasts the window in which levels are read."""
    return pitch < _LOW_PITCH and signs.relative_rise < _LOW_RISE


def _without_noise(spans: list[Span], peaks: Frames, sound: Sound, settings: ListeningSettings) -> list[Span]:
    """Leave out what is too short, too quiet, or a slip of the tracker to a multiple of its neighbours."""
    if not spans:
        return []
    level = sound.strength.level_db
    loudest = max(float(level[first:last].max()) for first, last in spans)
    kept: list[Span] = []
    for index, (first, last) in enumerate(spans):
        quiet = float(level[first:last].max()) < loudest + settings.quiet_note_db
        begun = bool(((peaks >= first - _ATTACK_BEFORE) & (peaks <= first + _AFTER)).any())
        shortest_s = settings.shortest_begun_s if begun else settings.shortest_note_s
        short = (last - first) * sound.frame_s < shortest_s
        stray = _is_tail(spans, index, sound) or _is_touch((first, last), kept, sound, loudest)
        if not (quiet or short or stray or _is_slip(spans, index, sound)):
            kept.append((first, last))
    return kept


def _is_touch(span: Span, before: list[Span], sound: Sound, loudest: float) -> bool:
    """Whether a short faint span stands alone: a finger or the pick that comes to rest on a string."""
    first, last = span
    alone = not before or first - before[-1][1] > 2 * _BLUR
    short = (last - first) * sound.frame_s <= _TOUCH_S
    return alone and short and float(sound.strength.level_db[first:last].max()) < loudest - _TOUCH_BELOW_DB


def _is_tail(spans: list[Span], index: int, sound: Sound) -> bool:
    """Whether a short span only ends the sound before: the noise of a finger leaving, then silence."""
    first, last = spans[index]
    if index == 0 or (last - first) * sound.frame_s > _TAIL_S or first - spans[index - 1][1] > 2 * _BLUR:
        return False
    level = sound.strength.level_db
    follows = index + 1 < len(spans) and spans[index + 1][0] - last <= 2 * _BLUR
    gained = float(level[first:last].max()) - float(level[max(first - 20, 0) : max(first - 3, 1)].max())
    return not follows and gained < 1.0


def _is_slip(spans: list[Span], index: int, sound: Sound) -> bool:
    """Whether a short span stands a multiple of the frequency away from the spans that touch it."""
    first, last = spans[index]
    if (last - first) * sound.frame_s > 0.09:
        return False
    level = float(np.median(sound.pitch[first:last]))
    beside = []
    if index > 0 and first - spans[index - 1][1] <= 2:
        beside.append(float(sound.pitch[spans[index - 1][1] - 1]))
    if index + 1 < len(spans) and spans[index + 1][0] - last <= 2:
        beside.append(float(sound.pitch[spans[index + 1][0]]))
    return any(abs(abs(level - other) - slip) < 0.6 for other in beside for slip in _SLIPS)


def _onset_frame(first: int, earliest: int, peaks: Frames, strength: AttackStrength) -> int:
    """Frame of the last clear attack near a voiced start, or the start itself.

    Noises of the pick on the string come before the attack and are weaker, so the last one counts that is
    not much weaker than the strongest.
    """
    near = peaks[(peaks >= max(first - _BEFORE, earliest)) & (peaks <= first + _AFTER)]
    if not len(near):
        return first
    rises = strength.rise[near]
    return int(near[np.flatnonzero(rises >= 0.4 * rises.max())[-1]])


def _is_dropout(signs: Signs, settings: ListeningSettings, decisions: PickDecisions) -> bool:
    """Whether the boundary is only a hole in the track of one held note."""
    return (
        abs(signs.change) < settings.same_pitch
        and signs.gap_s <= settings.dropout_s
        and decisions.held(signs) <= 0
    )


def _pick_odds(signs: Signs, settings: ListeningSettings, decisions: PickDecisions) -> float:
    """Log odds that a piece was picked, from the signs at its beginning; above 0 means picked."""
    if signs.gap_s >= settings.picked_gap_s:
        silent = signs.dip_db >= settings.silence_dip_db or signs.rise >= settings.picked_rise
        return 4.0 if silent else -2.0  # a string that sounds on without a pitch is being slid on
    if abs(signs.change) < settings.same_pitch:
        return max(decisions.held(signs), 0.5)
    return decisions.changed(signs)
