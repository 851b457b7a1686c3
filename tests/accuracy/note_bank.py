"""The recorded notes of tests/data, ready to be spliced: onset known, tuning error known, level known."""

from __future__ import annotations

import csv
import functools
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile as sf

DATA = Path(__file__).resolve().parents[1] / "data"
SAMPLE_RATE_HZ = 44100
SETS = ("strat", "emily", "green")
# Recording 1 of the strat alone: recording 2 is left for measuring the guitar.
STRAT_FIRST, FIRST_SUFFIX = "strat_first", "_t1.flac"
FURTHEST_SEMITONES = 2.5
DYNAMIC_BOUNDS = ((58, "p"), (102, "mf"), (128, "f"))
OTHER_DYNAMIC_COST = 0.9  # semitones of resampling that a fitting dynamic is worth
LEVEL_WINDOW_S = (0.03, 0.23)


@dataclass(frozen=True)
class Recorded:
    """One recorded note.

    Attributes
    ----------
    samples : ndarray of float32, shape (n,)
        At `SAMPLE_RATE_HZ`, scaled to an RMS of 1 over `LEVEL_WINDOW_S` after the onset.
    onset : int
        Sample at which it begins to sound (12 % of its peak).
    pitch : float
        MIDI number it really sounds at, tuning error included.
    """

    samples: np.ndarray
    onset: int
    pitch: float
    name: str


@functools.cache
def index_rows(set_name: str, articulation: str) -> tuple[dict[str, str], ...]:
    """Rows of the index of one set and articulation."""
    if set_name == STRAT_FIRST:
        return tuple(row for row in index_rows("strat", articulation) if row["file"].endswith(FIRST_SUFFIX))
    with (DATA / "index.csv").open(newline="") as stream:
        rows = csv.DictReader(stream)
        return tuple(row for row in rows if (row["set"], row["articulation"]) == (set_name, articulation))


@functools.cache
def load(set_name: str, articulation: str, file: str) -> Recorded:
    """Read one note."""
    row = next(row for row in index_rows(set_name, articulation) if row["file"] == file)
    samples, rate = sf.read(DATA / file, dtype="float32")
    if rate != SAMPLE_RATE_HZ:
        raise ValueError(f"{file}: {rate} Hz; the notes must be at {SAMPLE_RATE_HZ} Hz")
    onset = round(float(row["onset_s"]) * rate)
    first, last = (onset + int(edge * rate) for edge in LEVEL_WINDOW_S)
    level = float(np.sqrt(np.mean(samples[first:last] ** 2)))
    pitch = float(row["midi"]) + float(row["tuning_cents"]) / 100.0
    return Recorded(samples / level, onset, pitch, file)


def choose(
    set_name: str, pitch_midi: int, string: int, fret: int, velocity: int, articulation: str, turn: int
) -> Recorded:
    """Choose the recorded note for a played one.

    The strat gives the same string and fret (an open string: fret 1 tuned down), taking turns between
    recordings; the others the nearest pitch, with the dynamic that fits the velocity if one is near.
    """
    rows = index_rows(set_name, articulation)
    if set_name in ("strat", STRAT_FIRST):
        place = (str(string), str(max(fret, 1)))
        same = [row for row in rows if (row["string"], row["fret"]) == place]
        rows = tuple(same) or tuple(row for row in rows if row["string"] == str(string))
    dynamic = next(name for bound, name in DYNAMIC_BOUNDS if velocity < bound)

    def cost(row: dict[str, str]) -> float:
        return abs(int(row["midi"]) - pitch_midi) + OTHER_DYNAMIC_COST * (row["dynamic"] != dynamic)

    lowest = min(cost(row) for row in rows)
    best = [row for row in rows if cost(row) <= lowest + 1e-9]
    row = best[turn % len(best)]
    if abs(int(row["midi"]) - pitch_midi) > FURTHEST_SEMITONES:
        raise ValueError(
            f"{set_name}: no recorded note within {FURTHEST_SEMITONES} semitones of {pitch_midi}"
        )
    return load(set_name, articulation, row["file"])
