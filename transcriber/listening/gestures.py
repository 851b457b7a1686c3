"""What the pitch does within one unbroken piece: turning points, vibrato, moves and holds."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from transcriber.listening.settings import ListeningSettings

FloatArray = npt.NDArray[np.float64]
_STILL = 2.5  # semitones a second below which a pitch stands
_BLUR = 5  # frames at either end of a piece in which the pitch window holds a neighbouring sound as well
_SWING_SPREAD = 1.5  # how much wider than typical the first or last swing of a vibrato may be
_PLATEAU_S = 0.065  # shortest stand that parts two moves in the same direction


@dataclass(frozen=True)
class Vibrato:
    """Frames `first` to `last` of a piece swing around a level."""

    first: int
    last: int
    rate_hz: float
    depth: float
    low: float
    high: float


@dataclass(frozen=True)
class Move:
    """A change of pitch from one level to another between two frames of a piece.

    `fret_halt` tells how much slower the pitch passes whole semitones than the space between them.
    """

    first: int
    last: int
    start: float
    target: float
    speed: float
    fret_halt: float

    @property
    def extent(self) -> float:
        """Semitones moved, positive upward."""
        return self.target - self.start


@dataclass(frozen=True)
class Gestures:
    """All gestures of a piece, in order; frames are counted from the piece's first."""

    vibratos: tuple[Vibrato, ...]
    moves: tuple[Move, ...]


def turning_points(values: FloatArray, threshold: float) -> list[int]:
    """Indices of the alternating extremes of a curve that reverses by at least `threshold`; ends included."""
    points = [0]
    low = high = 0
    direction = 0
    for index in range(1, len(values)):
        value = values[index]
        if value > values[high]:
            high = index
        if value < values[low]:
            low = index
        if direction >= 0 and values[high] - value >= threshold:
            if high != points[-1]:
                points.append(high)
            direction, low, high = -1, index, index
        elif direction <= 0 and value - values[low] >= threshold:
            if low != points[-1]:
                points.append(low)
            direction, low, high = 1, index, index
    last = high if direction > 0 else low if direction < 0 else len(values) - 1
    if last != points[-1]:
        points.append(last)
    if points[-1] != len(values) - 1:
        points.append(len(values) - 1)
    return points


def find_gestures(pitch: FloatArray, frame_s: float, settings: ListeningSettings) -> Gestures:
    """Read vibrato and moves from the pitch of one piece.

    Parameters
    ----------
    pitch : ndarray of float64, shape (n,)
        Semitones, without gaps.
    frame_s : float
        Seconds between frames.
    settings : ListeningSettings
    """
    if len(pitch) < 4:
        return Gestures((), ())
    smooth = _smoothed(pitch)
    points = turning_points(smooth, settings.turn)
    vibratos = _vibratos(smooth, points, frame_s, settings)
    moves: list[Move] = []
    for first, last in pairwise(points):
        if any(_is_swing_beside(smooth, first, last, v) for v in vibratos):
            continue
        inside = any(v.first <= first and last <= v.last for v in vibratos)
        blurred = last <= _BLUR or first >= len(pitch) - _BLUR
        if not blurred and not inside and abs(smooth[last] - smooth[first]) >= settings.move:
            moves += _moves_within(smooth, first, last, frame_s, settings)
    return Gestures(tuple(vibratos), tuple(moves))


def _smoothed(pitch: FloatArray) -> FloatArray:
    """Median of three, then a short triangular mean: removes single-frame errors, keeps a slide's edges."""
    padded = np.pad(pitch, 1, mode="edge")
    middle = np.median(np.stack([padded[:-2], padded[1:-1], padded[2:]]), axis=0)
    padded = np.pad(middle, 1, mode="edge")
    return np.asarray((padded[:-2] + 2 * padded[1:-1] + padded[2:]) / 4, np.float64)


def _vibratos(
    pitch: FloatArray, points: list[int], frame_s: float, settings: ListeningSettings
) -> list[Vibrato]:
    """Longest runs of turning points whose swings are alike in extent and duration."""
    found = []
    swings = np.abs(np.diff(pitch[points]))
    begin = 0
    while begin + settings.vibrato_turns <= len(points):
        end = _vibrato_end(points, swings, begin, frame_s, settings)
        if end - begin + 1 >= settings.vibrato_turns:
            found.append(_vibrato(pitch, points[begin : end + 1], frame_s))
            begin = end
        else:
            begin += 1
    return [v for v in found if settings.vibrato_depth <= v.depth]


def _vibrato_end(
    points: list[int], swings: FloatArray, begin: int, frame_s: float, settings: ListeningSettings
) -> int:
    """Index of the last turning point of a vibrato that begins at `begin` (may be `begin` itself)."""
    end = begin
    while end + 1 < len(points):
        swing = swings[end]
        if not 0.7 * settings.vibrato_depth <= swing <= settings.vibrato_widest:
            break
        typical = float(np.median(swings[begin : end + 1]))
        if not typical / 2.2 <= swing <= typical * 2.2:
            break
        # Flat bottoms make single swings uneven, so the cycle (two swings) is what must be regular.
        if end - begin >= 1:
            cycle = (points[end + 1] - points[end - 1]) * frame_s
            if not 1 / settings.vibrato_fastest_hz <= cycle <= 1 / settings.vibrato_slowest_hz:
                break
        end += 1
    return end


def _is_swing_beside(pitch: FloatArray, first: int, last: int, vibrato: Vibrato) -> bool:
    """Whether a span that touches a vibrato is its first or last swing, lengthened by a hold."""
    touches = last == vibrato.first or first == vibrato.last
    return touches and abs(pitch[last] - pitch[first]) <= _SWING_SPREAD * vibrato.depth


def _vibrato(pitch: FloatArray, points: list[int], frame_s: float) -> Vibrato:
    values = pitch[points]
    rising = values[1] > values[0]
    highs = values[1::2] if rising else values[0::2]
    lows = values[0::2] if rising else values[1::2]
    cycles = np.array([points[i + 2] - points[i] for i in range(len(points) - 2)]) * frame_s
    return Vibrato(
        points[0],
        points[-1],
        float(1 / np.mean(cycles)),
        float(np.median(np.abs(np.diff(values)))),
        float(np.median(lows)),
        float(np.median(highs)),
    )


def _moves_within(
    pitch: FloatArray, first: int, last: int, frame_s: float, settings: ListeningSettings
) -> list[Move]:
    """Split a monotone span at the stands in it, and keep the parts that move far enough."""
    slope = np.abs(np.gradient(pitch[first : last + 1])) / frame_s
    still = slope < _STILL
    edges = [first]
    longest = max(2, round(_PLATEAU_S / frame_s))
    index = 0
    while index < len(still):
        stop = index
        while stop < len(still) and still[stop]:
            stop += 1
        if stop - index >= longest and index > 0 and stop < len(still):
            edges.append(first + (index + stop) // 2)
        index = max(stop, index + 1)
    edges.append(last)
    parts = pairwise(edges)
    return [
        _move(pitch, low, high, frame_s)
        for low, high in parts
        if abs(pitch[high] - pitch[low]) >= settings.move
    ]


def _move(pitch: FloatArray, first: int, last: int, frame_s: float) -> Move:
    """Measure one move: where it leaves and arrives (6 % and 94 % of the way), speed, halt at frets."""
    start, target = float(pitch[first]), float(pitch[last])
    share = (pitch[first : last + 1] - start) / (target - start)
    leaves = first + int(np.nonzero(share <= 0.06)[0][-1])
    arrives = first + int(np.nonzero(share >= 0.94)[0][0])
    arrives = max(arrives, leaves + 1)
    early = first + int(np.nonzero(share >= 0.2)[0][0])
    late = max(first + int(np.nonzero(share <= 0.8)[0][-1]) + 1, early + 1)
    speed = abs(pitch[min(late, last)] - pitch[early]) / ((late - early) * frame_s)
    return Move(leaves, arrives, start, target, float(speed), _fret_halt(pitch, leaves, arrives))


def seen_finely(move: Move, contour: FloatArray, step_s: float) -> Move:
    """Measure a move's speed and its halts at frets again, on a contour of finer steps.

    Parameters
    ----------
    move : Move
    contour : ndarray of float64, shape (n,)
        Semitones from a little before the move to a little after it.
    step_s : float
        Seconds between its values.

    Returns
    -------
    Move
        As it was if the fine contour does not show the move.
    """
    away = np.flatnonzero(np.abs(contour - move.start) <= 0.06 * abs(move.extent) + 0.05)
    there = np.flatnonzero(np.abs(contour - move.target) <= 0.06 * abs(move.extent) + 0.05)
    if not len(away) or not len(there[there > away[0]]):
        return move
    arrives = int(there[there > away[0]][0])
    leaves = int(away[away < arrives][-1])
    if arrives - leaves < 2:
        return move
    seconds = (arrives - leaves) * step_s
    return replace(
        move,
        speed=0.88 * abs(move.extent) / seconds,
        fret_halt=_fret_halt(contour, leaves, arrives),
    )


def _fret_halt(pitch: FloatArray, first: int, last: int) -> float:
    """Speed between frets against speed at the frets passed on the way, as a logarithm, -1.5 to 1.5.

    A bent string is quickest in the middle of its way, an even glide is as quick everywhere, and a sliding
    finger halts a little at each fret. 0 where no fret is passed.
    """
    low, high = sorted((float(pitch[first]), float(pitch[last])))
    frets = [n for n in range(round(low) - 1, round(high) + 2) if low + 0.3 < n < high - 0.3]
    between = [n + 0.5 for n in range(round(low) - 1, round(high) + 1) if low + 0.2 < n + 0.5 < high - 0.2]
    if not frets or not between:
        return 0.0
    at_frets = np.mean([_speed_where(pitch, first, last, level) for level in frets])
    elsewhere = np.mean([_speed_where(pitch, first, last, level) for level in between])
    return float(np.clip(np.log((elsewhere + 0.01) / (at_frets + 0.01)), -1.5, 1.5))


def _speed_where(pitch: FloatArray, first: int, last: int, level: float) -> float:
    """Semitones a frame at which the pitch passes a level between two frames."""
    nearest = first + int(np.abs(pitch[first : last + 1] - level).argmin())
    low, high = max(nearest - 1, 0), min(nearest + 1, len(pitch) - 1)
    return float(abs(pitch[high] - pitch[low])) / max(high - low, 1)
