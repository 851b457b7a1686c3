"""Slower without lower: sound stretched between its attacks, which stay as they were.

Waveform similarity overlap-add (Verhelst and Roelands, "An overlap-add technique based on waveform similarity
(WSOLA) for high quality time-scale modification of speech", ICASSP 1993). Around every attack the sound is
copied sample by sample, so that no attack is smeared, doubled or announced; only what rings between them
is stretched. A single line has one period at a time, which is what the method wants; a phase vocoder was
measured against it and smears (``python -m tests.practice.measure_stretch``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.errors import UsageError

Sound = npt.NDArray[np.float32]

SPEEDS = (0.25, 1.5)
FRAME_S = 0.03
SEARCH_S = 0.0125  # one period of the lowest string of a guitar, 82 Hz
KEPT_BEFORE_S, KEPT_AFTER_S = 0.012, 0.03


@dataclass(frozen=True)
class Kept:
    """A stretch that is copied as it is: from and to, and the attack that fixes its place, in seconds."""

    from_s: float
    attack_s: float
    to_s: float


def kept_around(attacks_s: Sequence[float], glides_s: Sequence[float] = ()) -> tuple[Kept, ...]:
    """What to keep around attacks; `glides_s` says how long before each a slide leads to it."""
    leads = list(glides_s) or [0.0] * len(attacks_s)
    return tuple(
        Kept(at - max(KEPT_BEFORE_S, lead), at, at + KEPT_AFTER_S)
        for at, lead in zip(attacks_s, leads, strict=True)
    )


def stretched(sound: Sound, rate_hz: int, speed: float, kept: Sequence[Kept] = ()) -> Sound:
    """Play sound at another speed, its pitch kept.

    Parameters
    ----------
    sound : ndarray of float32, shape (n,)
    rate_hz : int
    speed : float
        0.25 to 1.5; 0.5 takes twice as long. At 1 the very samples come back.
    kept : sequence of Kept
        In order of time.

    Returns
    -------
    ndarray of float32, shape (round(n / speed),)
        What happens at t in `sound` happens at t / speed.

    Raises
    ------
    UsageError
        If the speed is out of its bounds.
    """
    low, high = SPEEDS
    if not low <= speed <= high:
        raise UsageError(f"speed {speed:.0%} is out of {low:.0%} to {high:.0%}")
    if speed == 1.0:
        return np.array(sound, dtype=np.float32)
    count = round(len(sound) / speed)
    half = max(2, round(FRAME_S * rate_hz / 2))
    positions = _positions(sound, rate_hz, speed, kept, count, half)
    window = 0.5 - 0.5 * np.cos(np.pi * (np.arange(2 * half) + 0.5) / half)
    padded = np.pad(sound.astype(np.float64), (2 * half, 4 * half))
    out = np.zeros(count + 4 * half)
    for number, position in enumerate(positions):
        start = max(0, min(position + 2 * half, len(padded) - 2 * half))
        out[number * half : (number + 2) * half] += window * padded[start : start + 2 * half]
    return out[half : half + count].astype(np.float32)


def _positions(
    sound: Sound, rate_hz: int, speed: float, kept: Sequence[Kept], count: int, half: int
) -> list[int]:
    """Where each frame is read; frame number k is written from ``(k - 1) * half`` on."""
    zones = [
        (
            round(each.attack_s / speed * rate_hz) - round((each.attack_s - each.from_s) * rate_hz),
            round(each.attack_s / speed * rate_hz) + round((each.to_s - each.attack_s) * rate_hz),
            round(each.attack_s * rate_hz) - round(each.attack_s / speed * rate_hz),
        )
        for each in kept
    ]
    reach = round(SEARCH_S * rate_hz)
    positions: list[int] = []
    zone = 0
    for number in range(count // half + 3):
        at = (number - 1) * half
        while zone < len(zones) and zones[zone][1] <= at:
            zone += 1
        if zone < len(zones) and at + 2 * half > zones[zone][0]:
            positions.append(at + zones[zone][2])
            continue
        low, high = _free_range(zones, zone, half)
        wanted = _between(zones, zone, at, speed)
        wanted = int(min(max(wanted, low), high))
        if not positions:
            positions.append(wanted)
            continue
        natural = positions[-1] + half
        first, last = max(wanted - reach, low), min(wanted + reach, high)
        positions.append(_likest(sound, natural, first, last, 2 * half))
    return positions


def _free_range(zones: Sequence[tuple[int, int, int]], zone: int, half: int) -> tuple[int, int]:
    """Bounds of what a frame between two kept stretches may read: neither the attack before nor the next."""
    low = -2 * half if zone == 0 else zones[zone - 1][1] + zones[zone - 1][2] - half
    high = 1 << 40 if zone == len(zones) else zones[zone][0] + zones[zone][2] - 2 * half
    return low, max(low, high)


def _between(zones: Sequence[tuple[int, int, int]], zone: int, at: int, speed: float) -> float:
    """Where a frame between two kept stretches is to read: on the straight way from one to the other."""
    if zone == 0 or zone == len(zones):
        anchor = zones[zone - 1] if zone else (zones[0] if zones else (0, 0, 0))
        edge = anchor[1] if zone else anchor[0]
        return edge + anchor[2] + (at - edge) * speed
    left, right = zones[zone - 1], zones[zone]
    share = (at - left[1]) / max(right[0] - left[1], 1)
    return (1 - share) * (left[1] + left[2]) + share * (right[0] + right[2])


def _likest(sound: Sound, natural: int, first: int, last: int, length: int) -> int:
    """Position within bounds whose waveform is the likest to what would go on from the frame before."""
    if last <= first or not 0 <= natural <= len(sound) - length:
        return max(first, 0)
    first, last = max(first, 0), min(last, len(sound) - length)
    if last <= first:
        return max(min(first, len(sound) - length), 0)
    goes_on = sound[natural : natural + length].astype(np.float64)
    part = sound[first : last + length].astype(np.float64)
    likeness = np.correlate(part, goes_on, "valid")
    energy = np.convolve(part**2, np.ones(length), "valid")
    return first + int(np.argmax(likeness / np.sqrt(energy + 1e-9)))
