"""Pitch gestures of one note: when its bends, releases and vibrato happen, and the curve they make.

Conventions: times in seconds of the take, heights in semitones above the fretted pitch. A finger can only
raise a fretted string, so vibrato at the fret swings between the fret and its depth above it; on a held
bend it dips from the target and comes back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from transcriber.records.technique import Technique
from transcriber.synthesis.style import PlayingStyle

FloatArray = npt.NDArray[np.float64]

# A curve point every 4 ms: four points to the fastest move, fifty to a vibrato cycle.
GRID_S = 0.004
# Shares of a note's free time that go before its first gesture, between two and after the last.
_HOLD_BEFORE_BEND, _HOLD_BEFORE_RELEASE, _HOLD_BETWEEN, _HOLD_AFTER = 0.08, 0.45, 0.4, 0.5
_LONGEST_WAIT_BEFORE_BEND_S = 0.12
_SHORTEST_MOVE_S = 0.05
_LARGEST_SHARE_MOVING = 0.75
# Vibrato sets in after a wait and grows to its full depth.
_VIBRATO_WAIT_SHARE, _VIBRATO_LONGEST_WAIT_S, _VIBRATO_GROWTH_S = 0.22, 0.35, 0.12
_VIBRATO_SHORTEST_CYCLES = 2.5
_HELD_BEND_SEMITONES = 0.25
_TRILL_CHANGES_PER_S = (11.0, 14.0)
_TRILL_CHANGE_S = 0.006


@dataclass(frozen=True)
class Move:
    """One smooth change of the string's tension: a bend or a release."""

    start_s: float
    end_s: float
    from_semitones: float
    to_semitones: float


@dataclass(frozen=True)
class Gestures:
    """What is planned for one note. `techniques` are the written ones with their times and true amounts."""

    first_height: float
    moves: tuple[Move, ...]
    vibrato: Technique | None
    techniques: tuple[Technique, ...]


def plan_gestures(
    techniques: tuple[Technique, ...],
    onset_s: float,
    end_s: float,
    style: PlayingStyle,
    rng: np.random.Generator,
) -> Gestures:
    """Choose times and true amounts of a note's bends, releases and vibrato.

    Parameters
    ----------
    techniques : tuple of Technique
        As written, in the order in which they are played.
    onset_s, end_s : float
        Span in which the note sounds.
    style : PlayingStyle
    rng : Generator

    Returns
    -------
    Gestures
        Techniques of other kinds are passed through unchanged.
    """
    missed = {t.semitones: _bend_error(style, rng) for t in techniques if t.kind in ("bend", "pre_bend")}
    kinds: list[str] = [t.kind for t in techniques if t.kind in ("bend", "release")]
    spans = _spans(kinds, onset_s, end_s, style, rng)
    height = first = 0.0
    moves: list[Move] = []
    played: list[Technique] = []
    for technique in techniques:
        if technique.kind == "pre_bend":
            height = first = _true_height(technique, missed)
            played.append(replace(technique, semitones=round(height, 3), start_s=onset_s, end_s=onset_s))
        elif technique.kind in ("bend", "release"):
            start, stop = spans[len(moves)]
            target = _true_height(technique, missed)
            moves.append(Move(start, stop, height, target))
            height = target
            played.append(replace(technique, semitones=round(target, 3), start_s=start, end_s=stop))
        elif technique.kind == "vibrato":
            begin = moves[-1].end_s if moves else onset_s
            played.append(_plan_vibrato(technique, begin, end_s, style, rng))
        else:
            played.append(technique)
    vibrato = next((t for t in played if t.kind == "vibrato"), None)
    return Gestures(first, tuple(moves), vibrato, tuple(played))


def gesture_curve(gestures: Gestures, times_s: FloatArray) -> FloatArray:
    """Height of the string's pitch above the fret at given times.

    Parameters
    ----------
    gestures : Gestures
    times_s : ndarray, shape (k,)

    Returns
    -------
    ndarray, shape (k,)
        Semitones, never below 0.
    """
    heights = np.full(len(times_s), gestures.first_height)
    for move in gestures.moves:
        progress = np.clip((times_s - move.start_s) / (move.end_s - move.start_s), 0.0, 1.0)
        heights += (move.to_semitones - move.from_semitones) * smooth_step(progress)
    if gestures.vibrato is not None:
        last = gestures.moves[-1].to_semitones if gestures.moves else gestures.first_height
        swing = _vibrato_swing(gestures.vibrato, times_s)
        heights += -np.minimum(swing, last) if last >= _HELD_BEND_SEMITONES else swing
    return heights


def smooth_step(progress: FloatArray) -> FloatArray:
    """S-curve from 0 to 1 with level ends (raised cosine) over progress from 0 to 1."""
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * progress))


def step_curve(
    start_s: float, end_s: float, heights: FloatArray, change_s: float
) -> tuple[FloatArray, FloatArray]:
    """Points of a glide over frets: the pitch stays at each height and changes quickly to the next.

    Parameters
    ----------
    start_s, end_s : float
        The last height is reached at `end_s`.
    heights : ndarray, shape (n + 1,)
        Semitones, the first being where the glide comes from.
    change_s : float
        Time of each change, shortened where the steps are closer than that.

    Returns
    -------
    times_s, semitones : ndarray, shape (2 n,)
    """
    steps = len(heights) - 1
    arrivals = start_s + (end_s - start_s) * np.arange(1, steps + 1) / steps
    change = min(change_s, 0.6 * (end_s - start_s) / steps)
    times = np.stack([arrivals - change, arrivals], axis=1).ravel()
    semitones = np.stack([heights[:-1], heights[1:]], axis=1).ravel()
    return times, semitones


def trill_curve(
    onset_s: float, end_s: float, interval: float, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Points of a trill between 0 and `interval` semitones, beginning and ending on 0."""
    rate = rng.uniform(*_TRILL_CHANGES_PER_S)
    changes = max(2, int((end_s - onset_s) * rate) // 2 * 2)
    times = onset_s + (end_s - onset_s) * np.arange(1, changes + 1) / (changes + 1)
    before = np.where(np.arange(changes) % 2 == 0, 0.0, interval)
    points = np.stack([times, times + _TRILL_CHANGE_S], axis=1).ravel()
    return points, np.stack([before, interval - before], axis=1).ravel()


def _bend_error(style: PlayingStyle, rng: np.random.Generator) -> float:
    bound = 2 * style.bend_error_cents
    return float(np.clip(rng.normal(0.0, style.bend_error_cents), -bound, bound)) / 100.0


def _true_height(technique: Technique, missed: dict[float | None, float]) -> float:
    # The ear that misses a target misses it alike each time within one note; a full release cannot miss.
    semitones = technique.semitones or 0.0
    if technique.kind == "release":
        return semitones
    return max(0.05, semitones + missed.get(semitones, 0.0))


def _spans(
    kinds: list[str], onset_s: float, end_s: float, style: PlayingStyle, rng: np.random.Generator
) -> list[tuple[float, float]]:
    if not kinds:
        return []
    available = end_s - onset_s
    lengths = rng.uniform(style.bend_s[0], style.bend_s[1], len(kinds))
    lengths *= min(1.0, _LARGEST_SHARE_MOVING * available / lengths.sum())
    lengths = np.maximum(lengths, min(_SHORTEST_MOVE_S, 0.9 * available / len(kinds)))
    first = _HOLD_BEFORE_BEND if kinds[0] == "bend" else _HOLD_BEFORE_RELEASE
    weights = np.array([first, *[_HOLD_BETWEEN] * (len(kinds) - 1), _HOLD_AFTER])
    weights *= rng.uniform(0.75, 1.25, len(weights))
    holds = weights / weights.sum() * (available - lengths.sum())
    if kinds[0] == "bend" and holds[0] > _LONGEST_WAIT_BEFORE_BEND_S:
        holds[1:] += (holds[0] - _LONGEST_WAIT_BEFORE_BEND_S) / (len(holds) - 1)
        holds[0] = _LONGEST_WAIT_BEFORE_BEND_S
    starts = onset_s + np.cumsum(holds[:-1]) + np.concatenate([[0.0], np.cumsum(lengths[:-1])])
    return [(float(start), float(start + length)) for start, length in zip(starts, lengths, strict=True)]


def _plan_vibrato(
    technique: Technique, begin_s: float, end_s: float, style: PlayingStyle, rng: np.random.Generator
) -> Technique:
    rate = (technique.rate_hz or style.vibrato_rate_hz) * rng.uniform(0.94, 1.06)
    depth = (technique.depth_semitones or style.vibrato_depth_semitones) * rng.uniform(0.88, 1.12)
    available = end_s - begin_s
    wait = min(_VIBRATO_WAIT_SHARE * available * rng.uniform(0.7, 1.3), _VIBRATO_LONGEST_WAIT_S)
    wait = max(0.0, min(wait, available - _VIBRATO_SHORTEST_CYCLES / rate))
    return replace(
        technique,
        start_s=begin_s + wait,
        end_s=end_s,
        rate_hz=round(float(rate), 3),
        depth_semitones=round(float(depth), 3),
    )


def _vibrato_swing(vibrato: Technique, times_s: FloatArray) -> FloatArray:
    assert vibrato.start_s is not None
    assert vibrato.rate_hz is not None
    assert vibrato.depth_semitones is not None
    since = np.maximum(times_s - vibrato.start_s, 0.0)
    growth = np.minimum(since / _VIBRATO_GROWTH_S, 1.0)
    return np.asarray(vibrato.depth_semitones * growth * smooth_step(2.0 * vibrato.rate_hz * since))
