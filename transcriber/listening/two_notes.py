"""More than one string at a time: what sounds beside the note that the tracker follows.

The partials of the loudest pitch are taken out of a spectrum, and what is left is searched for a second
harmonic series (iterative cancellation, after Klapuri, "Multiple fundamental frequency estimation by
summing harmonic amplitudes", ISMIR 2006). The tracker's own pitch is no start, since two notes have a
common period that is neither's: all pairs of salient pitches are compared by how much of the spectrum they
explain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

WINDOW = 4096  # 186 ms
_FAINTEST_DB = -42.0
_LOWEST_HZ, _HIGHEST_HZ = 38.0, 4_500.0
_MOST_PEAKS = 40
_TOLERANCE = 0.022  # of a partial's frequency: 38 cents, which covers stiffness up to the twelfth partial
_PARTIALS = 14
_LOW_PARTIALS_HZ = 1_600.0  # low strings have more partials than 14, up to here
_CANDIDATES = 8
_NEARLY_ALL = 0.8
_OWN_PARTIALS = 6


@dataclass(frozen=True)
class Peaks:
    """Peaks of a spectrum: frequencies in hertz, amplitudes against the strongest; shape (n,)."""

    hz: FloatArray
    amplitude: FloatArray


@dataclass(frozen=True)
class Mixture:
    """How well one pitch and two explain a spectrum.

    Attributes
    ----------
    one_share : float
        Share of the peaks' amplitude that is the best single pitch's partials'.
    pair_hz : tuple of float
        Best pair, lower first.
    pair_share : float
        What it explains.
    second_level : float
        Amplitude that only the pair's weaker pitch explains, against what the stronger does.
    second_partials : int
        Number of peaks that only the weaker explains.
    """

    one_share: float
    pair_hz: tuple[float, float]
    pair_share: float
    second_level: float
    second_partials: int


def spectrum_peaks(samples: npt.NDArray[np.float32], rate_hz: int) -> Peaks:
    """Peaks of a stretch of sound, interpolated between bins.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        Padded with zeros to `WINDOW`.
    rate_hz : int
    """
    stretch = samples[:WINDOW].astype(np.float64)
    spectrum = np.abs(np.fft.rfft(stretch * np.hanning(len(stretch)), 2 * WINDOW))
    levels = 20 * np.log10(spectrum + 1e-9)
    middle = levels[1:-1]
    at = np.flatnonzero((middle > levels[:-2]) & (middle >= levels[2:])) + 1
    hz = at * rate_hz / (2 * WINDOW)
    at = at[(hz >= _LOWEST_HZ) & (hz <= _HIGHEST_HZ)]
    if not len(at):
        return Peaks(np.zeros(0), np.zeros(0))
    at = at[levels[at] >= levels[at].max() + _FAINTEST_DB]
    at = np.sort(at[np.argsort(levels[at])[::-1][:_MOST_PEAKS]])
    left, here, right = levels[at - 1], levels[at], levels[at + 1]
    offset = 0.5 * (left - right) / np.minimum(left - 2 * here + right, -1e-9)
    amplitude = spectrum[at]
    return Peaks((at + offset) * rate_hz / (2 * WINDOW), amplitude / amplitude.max())


def explained(peaks: Peaks, f0_hz: float) -> npt.NDArray[np.bool_]:
    """Which peaks are partials of a pitch, shape (n,)."""
    number = np.rint(peaks.hz / f0_hz)
    near = np.abs(peaks.hz / (np.maximum(number, 1) * f0_hz) - 1) <= _TOLERANCE
    most = max(_PARTIALS, _LOW_PARTIALS_HZ / f0_hz)
    return np.asarray(near & (number >= 1) & (number <= most), bool)


def is_one_pitch(peaks: Peaks, f0_hz: float) -> bool:
    """Whether a pitch that stands as a peak itself explains nearly all there is.

    Parameters
    ----------
    peaks : Peaks
    f0_hz : float
    """
    if not len(peaks.hz):
        return True
    cover = explained(peaks, f0_hz)
    stands = bool((np.abs(peaks.hz / f0_hz - 1) <= _TOLERANCE).any())
    weight = np.sqrt(peaks.amplitude)
    return stands and float(weight[cover].sum()) >= _NEARLY_ALL * float(weight.sum())


def has_low_partials(peaks: Peaks, f0_hz: float) -> bool:
    """Whether the first or second partial of a pitch stands, as at least one does on every string.

    Parameters
    ----------
    peaks : Peaks
    f0_hz : float
    """
    near = [np.abs(peaks.hz / (number * f0_hz) - 1) <= _TOLERANCE for number in (1, 2)]
    return bool(np.any(near))


def mixture(peaks: Peaks, lowest_hz: float, highest_hz: float) -> Mixture | None:
    """Compare the best single pitch with the best pair.

    Parameters
    ----------
    peaks : Peaks
    lowest_hz, highest_hz : float
        Range of pitches.

    Returns
    -------
    Mixture or None
        None where there are too few peaks to tell.
    """
    candidates = _candidates(peaks, lowest_hz, highest_hz)
    if len(peaks.hz) < 4 or not candidates:
        return None
    weight = np.sqrt(peaks.amplitude)
    total = float(weight.sum())
    covers = {f0: explained(peaks, f0) for f0 in candidates}
    one = max(candidates, key=lambda f0: _worth(peaks, weight, covers[f0], f0))
    pairs = [(low, high) for low in candidates for high in candidates if low < 0.97 * high]
    if not pairs:
        return None

    def pair_worth(pair: tuple[float, float]) -> float:
        both = float(weight[covers[pair[0]] | covers[pair[1]]].sum())
        return both - _missing(peaks, pair[0]) - _missing(peaks, pair[1])

    pair = max(pairs, key=pair_worth)
    share = float(weight[covers[pair[0]] | covers[pair[1]]].sum()) / total
    alone = [float(peaks.amplitude[covers[a] & ~covers[b]].sum()) for a, b in (pair, pair[::-1])]
    count = [int((covers[a] & ~covers[b]).sum()) for a, b in (pair, pair[::-1])]
    weaker = int(np.argmin(alone))
    stronger = float(peaks.amplitude[covers[pair[1 - weaker]]].sum())
    return Mixture(
        float(weight[covers[one]].sum()) / total,
        pair,
        share,
        alone[weaker] / max(stronger, 1e-9),
        count[weaker],
    )


def _candidates(peaks: Peaks, lowest_hz: float, highest_hz: float) -> list[float]:
    """Pitches that stand as a peak themselves and gather the most partials."""
    weight = np.sqrt(peaks.amplitude)
    strong = [
        float(hz)
        for hz, amplitude in zip(peaks.hz, peaks.amplitude, strict=True)
        if lowest_hz <= hz <= highest_hz and amplitude >= 0.02
    ]
    ranked = sorted(strong, key=lambda f0: -_worth(peaks, weight, explained(peaks, f0), f0))
    return ranked[:_CANDIDATES]


def _worth(peaks: Peaks, weight: FloatArray, cover: npt.NDArray[np.bool_], f0_hz: float) -> float:
    return float(weight[cover].sum()) - _missing(peaks, f0_hz)


def _missing(peaks: Peaks, f0_hz: float) -> float:
    """Cost of the first partials that a pitch should have and has not."""
    numbers = np.rint(peaks.hz / f0_hz)[explained(peaks, f0_hz)]
    return 0.3 * float(sum(k not in numbers for k in (1, 2, 3) if k * f0_hz < _HIGHEST_HZ))


def own_level_db(samples: npt.NDArray[np.float32], rate_hz: int, own_hz: float, other_hz: float) -> float:
    """Level of the partials that one of two pitches has to itself, dB against full scale.

    Parameters
    ----------
    samples : ndarray of float32, shape (n,)
        At least a tenth of a second.
    rate_hz : int
    own_hz, other_hz : float
    """
    count = min(len(samples), WINDOW)
    window = np.hanning(count)
    spectrum = np.abs(np.fft.rfft(samples[:count] * window, 2 * WINDOW)) / window.sum()
    power = 0.0
    for number in range(1, _OWN_PARTIALS + 1):
        hz = number * own_hz
        nearest = max(round(hz / other_hz), 1) * other_hz
        if hz > _HIGHEST_HZ or abs(hz / nearest - 1) < 2 * _TOLERANCE:
            continue
        at = round(hz * 2 * WINDOW / rate_hz)
        power += float(spectrum[max(at - 3, 0) : at + 4].max()) ** 2
    return float(10 * np.log10(power + 1e-20))
