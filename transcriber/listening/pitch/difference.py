"""YIN's difference function, for many frames at once.

de Cheveigné and Kawahara, "YIN, a fundamental frequency estimator for speech and music",
JASA 111(4), 2002, equations 6 to 8.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import fft

Float32 = npt.NDArray[np.float32]


def frame_starts(n_samples: int, hop: int) -> npt.NDArray[np.int64]:
    """Return the sample at the centre of each frame: every `hop` samples from 0 on, shape (n,)."""
    return np.arange(0, n_samples, hop, dtype=np.int64)


def difference_function(padded: Float32, starts: npt.NDArray[np.int64], window: int, lags: int) -> Float32:
    """Squared difference between each frame and itself shifted by every lag.

    ``d[i, lag] = sum over j < window of (x[starts[i] + j] - x[starts[i] + j + lag]) ** 2``, computed from
    the energies and a cross-correlation by FFT.

    Parameters
    ----------
    padded : ndarray of float32, shape (n,)
        Sound; must reach `window + lags` beyond the last start.
    starts : ndarray of int64, shape (frames,)
    window, lags : int
        Integration window and number of lags (0 to ``lags - 1``), in samples.

    Returns
    -------
    ndarray of float32, shape (frames, lags)
        Never below 0.
    """
    length = window + lags
    size = fft.next_fast_len(length, real=True)
    stretches = np.lib.stride_tricks.sliding_window_view(padded, length)[starts]
    spectrum = fft.rfft(stretches, size, axis=1, workers=2)
    head = fft.rfft(stretches[:, :window], size, axis=1, workers=2)
    np.conjugate(head, out=head)
    spectrum *= head
    correlation = fft.irfft(spectrum, size, axis=1, workers=2)[:, :lags]

    # Energies come from running sums in double precision: single precision loses quiet notes after loud ones.
    running = np.zeros((len(starts), length + 1))
    np.cumsum(np.square(stretches, dtype=np.float64), axis=1, out=running[:, 1:])
    energies = running[:, window : window + lags] - running[:, :lags]
    difference = energies[:, :1] + energies - 2.0 * correlation
    return np.asarray(np.maximum(difference, 0.0), np.float32)


def normalised_difference(difference: Float32) -> Float32:
    """Cumulative-mean-normalised difference: 1 at lag 0, near 0 at the period. Same shape."""
    lags = difference.shape[1]
    total = np.cumsum(difference[:, 1:], axis=1, dtype=np.float64)
    out = np.ones_like(difference)
    np.divide(
        difference[:, 1:] * np.arange(1, lags, dtype=np.float32), total, out=out[:, 1:], where=total > 1e-12
    )
    return out
