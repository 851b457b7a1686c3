"""Levels of a sound's partials, and whether two sounds of one pitch come from the same string and fret.

Where a string of one length is picked and picked up decides which partials are strong, so a bend picked
again keeps the pattern that it had, and the same pitch on another string has another. Levels that rise or
fall evenly with the number of the partial are left out: they tell how hard the string was struck.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from transcriber.records.take import Take

FloatArray = npt.NDArray[np.float64]

_WINDOW = 2048
_PARTIALS = 8
_FEWEST_PARTIALS = 4
_HIGHEST_HZ = 9_000.0
_BEFORE_END_S, _AFTER_ONSET_S = 0.12, 0.06
_ALIKE_DB = (
    6.5  # strat, green and the synthesiser: nine of ten bends picked again lie below, most unisons above
)


def partial_levels(take: Take, time_s: float, f0_hz: float, partials: int = _PARTIALS) -> FloatArray | None:
    """Level of each partial in dB from a time on, shape (k,); None where the take ends too soon.

    Parameters
    ----------
    take : Take
    time_s : float
        Seconds in the file.
    f0_hz : float
    partials : int
        Looked for at most; those above 9 kHz are left out.
    """
    begin = round((time_s - take.start_s) * take.sample_rate_hz)
    stretch = take.samples[max(begin, 0) : max(begin, 0) + _WINDOW]
    if len(stretch) < _WINDOW:
        return None
    spectrum = np.abs(np.fft.rfft(stretch * np.hanning(_WINDOW)))
    resolution = take.sample_rate_hz / _WINDOW
    highest = min(_HIGHEST_HZ, 0.45 * take.sample_rate_hz)
    bins = [round(k * f0_hz / resolution) for k in range(1, partials + 1) if k * f0_hz < highest]
    found = [float(spectrum[max(at - 2, 0) : at + 3].max()) for at in bins]
    return np.asarray(20 * np.log10(np.maximum(found, 1e-6)), np.float64)


def sound_alike(take: Take, end_s: float, onset_s: float, f0_hz: float) -> bool:
    """Whether what sounded before `end_s` and what sounds after `onset_s`, at one pitch, is the same string.

    Parameters
    ----------
    take : Take
    end_s, onset_s : float
        Seconds in the file.
    f0_hz : float
        Pitch of both.
    """
    before = partial_levels(take, end_s - _BEFORE_END_S, f0_hz)
    after = partial_levels(take, onset_s + _AFTER_ONSET_S, f0_hz)
    if before is None or after is None or len(before) < _FEWEST_PARTIALS:
        return True
    change = before - after
    number = np.arange(len(change))
    rest = change - np.polyval(np.polyfit(number, change, 1), number)
    return float(np.std(rest)) <= _ALIKE_DB
