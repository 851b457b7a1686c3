"""Measure how often the inharmonicity of one isolated note tells its string, on a guitar nobody has measured.

    python -m tests.fretboard.string_of_notes FOLDER

FOLDER holds the full recordings (`strat_notes`, `takes`, `emily_notes`), of which `tests/data` has a part.
Recording 1 of the strat shows how far real strings lie from the computed ones; recording 2 and the takes
report, also with the wrong set of strings assumed. Beside the share right stands what the evidence does: its
mean log-likelihood for the true string over the likeliest wrong one, and how often it speaks clearly (by more
than 1) for a wrong string.
"""

from __future__ import annotations

import argparse
import csv
import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr

from transcriber.fretboard.stiffness import (
    StiffnessSettings,
    StringSet,
    expected_log10_b,
    string_log_likelihoods,
)
from transcriber.listening.inharmonicity import Inharmonicity, measure_inharmonicity
from transcriber.models import load_model

RATE_HZ = 22050
FRETS = 22
LENGTHS_S = (0.15, 0.25, 0.5)
ONSET_SHARE = 0.12
NOISE_DB = 20.0
DRIVES = (1.5, 3.0, 6.0)
CLEARLY = 1.0
# Common sets beside the instrument file's (common practice).
OTHER_SETS = (
    ("lighter", (0.009, 0.011, 0.016, 0.024, 0.032, 0.042)),
    ("heavier", (0.011, 0.014, 0.018, 0.028, 0.038, 0.049)),
)
# Played takes of one open or 12th-fret string each: name, string, fret.
TAKES = tuple(
    (f"{6 - i + 1}{kind}", i, fret) for i in (6, 5, 4, 3, 2, 1) for kind, fret in (("a", 0), ("b", 12))
)
TAKE_GAP_S = 1.0


@dataclass(frozen=True)
class Note:
    """One isolated note: sound from the file's start, its onset, and where it was played."""

    samples: np.ndarray
    onset_s: float
    pitch_midi: float
    string: int
    fret: int


def standard_strings() -> StringSet:
    """Strings of the built-in six-string guitar."""
    model = load_model("instruments/standard")
    return StringSet(
        tuple(model["tuning_midi"]), tuple(model["string_gauges_in"]), float(model["scale_length_mm"])
    )


def read(path: Path) -> np.ndarray:
    """Read a recording at the working rate, scaled to a peak of 1."""
    samples, rate = sf.read(path, dtype="float32")
    samples = soxr.resample(samples, rate, RATE_HZ)
    return (samples / np.abs(samples).max()).astype(np.float32)


def first_onset_s(samples: np.ndarray) -> float:
    """First sample at 12 % of the peak, in seconds."""
    return float(np.flatnonzero(np.abs(samples) > ONSET_SHARE * np.abs(samples).max())[0] / RATE_HZ)


def strat_notes(folder: Path, recording: int) -> list[Note]:
    """Notes of one recording of the strat."""
    notes = []
    with (folder / "index.csv").open(newline="") as stream:
        rows = [row for row in csv.DictReader(stream) if row["file"].endswith(f"_t{recording}.flac")]
    for row in rows:
        path = folder / row["file"]
        if row["set"] != "strat" or not path.is_file():
            continue
        samples = read(path)
        place = int(row["string"]), int(row["fret"])
        notes.append(Note(samples, first_onset_s(samples), float(row["midi"]), *place))
    return notes


def take_notes(folder: Path, strings: StringSet) -> list[Note]:
    """Notes of the takes on one string: each rise of the level by half its range after a second of decay."""
    notes = []
    for start, string, fret in TAKES:
        for path in sorted((folder / "takes").glob(f"{start}_*.flac")):
            samples = read(path)
            hop = RATE_HZ // 100
            level = np.array([np.abs(samples[i : i + hop]).max() for i in range(0, len(samples), hop)])
            before = np.array([level[max(0, i - 6) : max(1, i - 1)].max() for i in range(len(level))])
            rises = np.flatnonzero((level > 0.2) & (level > 1.6 * before)) / 100.0
            last = -TAKE_GAP_S
            for rise in rises:
                if rise - last >= TAKE_GAP_S:
                    pitch = strings.tuning_midi[string - 1] + fret
                    notes.append(Note(samples, float(rise), pitch, string, fret))
                    last = float(rise)
    return notes


def true_f0_hz(note: Note) -> float:
    """Frequency of the strongest peak within 60 cents of the label, as a pitch tracker would give it."""
    label = 440.0 * 2.0 ** ((note.pitch_midi - 69.0) / 12.0)
    first = int((note.onset_s + 0.03) * RATE_HZ)
    stretch = note.samples[first : first + RATE_HZ // 4]
    levels = np.abs(np.fft.rfft(stretch * np.hanning(len(stretch)), 1 << 17))
    hertz = np.arange(len(levels)) * RATE_HZ / (1 << 17)
    near = np.flatnonzero(np.abs(1200.0 * np.log2(np.maximum(hertz, 1.0) / label)) < 60.0)
    return float(hertz[near[np.argmax(levels[near])]])


def measure(
    note: Note, length_s: float, condition: str = "clean", amount: float = 0.0
) -> Inharmonicity | None:
    """Measure one note, perhaps noisy (amount: dB) or overdriven (amount: gain into tanh)."""
    samples = note.samples
    if condition == "noise":
        first = int(note.onset_s * RATE_HZ)
        level = float(np.sqrt(np.mean(samples[first : first + int(length_s * RATE_HZ)] ** 2)))
        noise = np.random.default_rng(note.string * 100 + note.fret).normal(size=len(samples))
        samples = (samples + level * 10.0 ** (-amount / 20.0) * noise).astype(np.float32)
    elif condition == "drive":
        samples = np.tanh(amount * samples).astype(np.float32)
    return measure_inharmonicity(samples, RATE_HZ, true_f0_hz(note), note.onset_s, note.onset_s + length_s)


def places(note: Note, strings: StringSet) -> list[tuple[int, int]]:
    """Places of the note's pitch on the neck."""
    frets = (round(note.pitch_midi) - pitch for pitch in strings.tuning_midi)
    return [(string, fret) for string, fret in enumerate(frets, start=1) if 0 <= fret <= FRETS]


@dataclass
class Tally:
    """What the evidence of many notes came to."""

    notes: int = 0
    measured: int = 0
    right: int = 0
    chance: float = 0.0
    gain: float = 0.0
    misled: int = 0

    def add(self, note: Note, found: Inharmonicity | None, strings: StringSet) -> None:
        """Count one note; without a measurement every place is as likely."""
        possible = places(note, strings)
        if len(possible) < 2:
            return
        self.notes += 1
        self.chance += 1.0 / len(possible)
        if found is None:
            return
        self.measured += 1
        scores = string_log_likelihoods(found.log10_b, found.standard_error, possible, strings)
        true = scores.pop((note.string, note.fret))
        lead = true - max(scores.values())
        self.right += lead > 0
        self.gain += lead
        self.misled += lead < -CLEARLY

    def __str__(self) -> str:
        measured = max(1, self.measured)
        return (
            f"{self.notes:4d} notes, measured {self.measured / self.notes:.2f}, right of measured "
            f"{self.right / measured:.3f}, of all {self.right / self.notes:.3f} "
            f"(chance {self.chance / self.notes:.2f}), mean lead {self.gain / measured:+.2f}, "
            f"misled {self.misled / self.notes:.3f}"
        )


def report_condition(
    title: str, notes: list[Note], strings: StringSet, length_s: float, condition: str, amount: float = 0.0
) -> None:
    """Print one condition, in all and by string."""
    whole, parts = Tally(), {string: Tally() for string in range(1, 7)}
    for note in notes:
        found = measure(note, length_s, condition, amount)
        whole.add(note, found, strings)
        parts[note.string].add(note, found, strings)
    by_string = " ".join(f"{s}:{t.right}/{t.measured}/{t.notes}" for s, t in parts.items() if t.notes)
    print(f"{title}: {whole}\n    right/measured/notes by string {by_string}")


def report_deviation(title: str, notes: list[Note], strings: StringSet) -> None:
    """Print how far each string's log10 B lies from the computed one, and how well the errors are stated."""
    means = []
    for string in range(1, 7):
        found = [(note, measure(note, LENGTHS_S[-1])) for note in notes if note.string == string]
        off = [
            (f.log10_b - expected_log10_b(strings, string, note.fret), f.standard_error)
            for note, f in found
            if f is not None
        ]
        if not off:
            continue
        values, errors = np.array(off).T
        centre = float(np.median(values))
        means.append(centre)
        z = np.median(np.abs(values - centre) / np.hypot(errors, 0.01)) * 1.4826
        print(
            f"  {title} string {string}: measured - computed {centre:+.3f}, scatter over frets "
            f"{1.4826 * np.median(np.abs(values - centre)):.3f}, in stated errors {z:.1f}"
        )
    print(f"  {title}: RMS over strings {math.sqrt(float(np.mean(np.square(means)))):.3f}")


def report_unknown(folder: Path) -> None:
    """Print the emily's B by pitch: its strings are not known."""
    rows: dict[int, list[str]] = {}
    with (folder / "index.csv").open(newline="") as stream:
        for row in csv.DictReader(stream):
            if row["set"] != "emily" or not (folder / row["file"]).is_file():
                continue
            samples = read(folder / row["file"])
            note = Note(samples, first_onset_s(samples), float(row["midi"]), 0, 0)
            found = measure(note, LENGTHS_S[-1])
            text = "none" if found is None else f"{found.log10_b:.2f}±{found.standard_error:.2f}"
            rows.setdefault(int(row["midi"]), []).append(text)
    for midi, texts in sorted(rows.items()):
        print(f"  emily MIDI {midi}: log10 B {' '.join(texts)}")


def main() -> None:
    """Print all figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    folder = parser.parse_args().folder
    strings = standard_strings()
    first, second, takes = strat_notes(folder, 1), strat_notes(folder, 2), take_notes(folder, strings)
    print(f"model sd {StiffnessSettings().model_sd}; deviation from the computed strings")
    report_deviation("strat 1", first, strings)
    report_deviation("takes", takes, strings)
    for length_s in LENGTHS_S:
        report_condition(f"strat 1, {length_s} s", first, strings, length_s, "clean")
        report_condition(f"strat 2, {length_s} s", second, strings, length_s, "clean")
        report_condition(f"takes, {length_s} s", takes, strings, length_s, "clean")
        report_condition(f"strat 2, noise, {length_s} s", second, strings, length_s, "noise", NOISE_DB)
    for drive in DRIVES:
        report_condition(f"strat 2, drive {drive}, 0.5 s", second, strings, 0.5, "drive", drive)
        report_condition(f"takes, drive {drive}, 0.5 s", takes, strings, 0.5, "drive", drive)
    for name, gauges_in in OTHER_SETS:
        other = replace(strings, gauges_in=gauges_in)
        report_condition(f"strat 2, {name} set assumed, 0.5 s", second, other, 0.5, "clean")
        report_condition(f"takes, {name} set assumed, 0.5 s", takes, other, 0.5, "clean")
    report_unknown(folder)


if __name__ == "__main__":
    main()
