"""How often a metronome told is found under recorded notes: ``python -m tests.listening.measure_clicks``.

Bench lines of the fit split on the guitar green, a steady click under each at three levels (full scale is 1).
A row is right if every click found is within 30 ms of a true one, at the true tempo.
"""

from __future__ import annotations

import numpy as np

from tests.accuracy.splice import splice
from tests.notation.bench_audio import CLICK_SOUNDS, take_of, with_clicks
from tests.notation.bench_lines import bench_lines
from tests.notation.bench_playing import perform_bench
from transcriber.listening.metronome import find_metronome

GUITAR = "green"
CONDITIONS = ("straight", "mixed with triplets", "syncopated", "pickup")
LEVELS = (0.2, 0.1, 0.05)
LINES = 4
NEAR_S = 0.03


def steady_beats(grid: np.ndarray, clock_s: np.ndarray, until_s: float) -> np.ndarray:
    """Times of the click that a player whose clock this is would have followed."""
    numbers = np.arange(int(np.ceil(grid[0])), int(grid[-1]) + 1)
    even = np.polyval(np.polyfit(numbers, np.interp(numbers, grid, clock_s), 1), numbers)
    return even[(even > 0.05) & (even < until_s - 0.2)]


def outcome(found: np.ndarray, beats: np.ndarray) -> str:
    """``right``, ``wrong`` or ``none``."""
    if not len(found):
        return "none"
    period = float(np.median(np.diff(beats)))
    away = (found - beats[0] + period / 2) % period - period / 2
    same_tempo = abs(float(np.median(np.diff(found))) / period - 1) < 0.01
    return "right" if same_tempo and float(np.abs(away).max()) <= NEAR_S else "wrong"


def main() -> None:
    """Print a table."""
    benches = [b for name in CONDITIONS for b in bench_lines(name, "fit", 2, ("cells", "phrases"))[:LINES]]
    sounds = []
    for bench in benches:
        performance, times = perform_bench(bench)
        sound = splice(performance, GUITAR)
        sounds.append((sound, steady_beats(times.grid, times.clock_s, len(sound) / 44_100)))
    silent = [take_of(sound) for sound, _ in sounds]
    made_up = sum(len(find_metronome(take.samples, take.sample_rate_hz)) > 0 for take in silent)
    print(f"without a click: made up in {made_up} of {len(silent)}")
    for kind in CLICK_SOUNDS:
        for level in LEVELS:
            takes = [(take_of(with_clicks(sound, beats, kind, 1, level)), beats) for sound, beats in sounds]
            told = [outcome(find_metronome(t.samples, t.sample_rate_hz), beats) for t, beats in takes]
            shares = ", ".join(f"{what} {told.count(what)}" for what in ("right", "wrong", "none"))
            print(f"{kind:6s} at {level:4.2f}: {shares} of {len(told)}")


if __name__ == "__main__":
    main()
