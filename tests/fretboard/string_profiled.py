"""Measure how often one isolated note tells its string, on a guitar that was measured and one that was not.

    python -m tests.fretboard.string_profiled [FOLDER]

The strat is measured from its recording 1 as a player would do it: frets 2, 3 and 12 of each string (it has
no open notes), strung together to one file and measured as `transcriber instrument` does. Recording 2 is
tried, all notes that have more than one place; also with other common sets assumed, which a profile makes
good. The takes are another guitar, open and 12th-fret notes, not measured: a profile of it would be made from
the very notes tried. FOLDER holds the full recordings; without it the part of `tests/data` is used: recording
2 of five frets, and no takes of open strings.
"""

from __future__ import annotations

import argparse
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile as sf

from tests.fretboard.string_of_notes import (
    OTHER_SETS,
    RATE_HZ,
    Note,
    Tally,
    measure,
    standard_strings,
    strat_notes,
    take_notes,
)
from transcriber.fretboard import read_instrument
from transcriber.fretboard.stiffness import StringSet, string_set_of
from transcriber.instrument import MeasuredGuitar, measure_guitar

DATA = Path(__file__).resolve().parents[1] / "data"
PROFILE_FRETS = (2, 3, 12)
PROFILE_RECORDING, TRIED_RECORDING = 1, 2
LENGTHS_S = (0.15, 0.25, 0.5)
NOTE_S, REST_S, LEAD_S = 1.5, 0.3, 0.05


def labelled_recording(notes: Sequence[Note], frets: Sequence[int]) -> tuple[np.ndarray, str]:
    """String notes together as a player records them, and say which they are."""
    chosen = sorted((n for n in notes if n.fret in frets), key=lambda n: (-n.string, n.fret))
    pieces = []
    for note in chosen:
        first = max(int((note.onset_s - LEAD_S) * RATE_HZ), 0)
        sound = note.samples[first : first + int(NOTE_S * RATE_HZ)].copy()
        fade = RATE_HZ // 50
        sound[-fade:] *= np.linspace(1.0, 0.0, fade, dtype=np.float32)
        pieces += [sound, np.zeros(int(REST_S * RATE_HZ), dtype=np.float32)]
    return 0.5 * np.concatenate(pieces), " ".join(f"{note.string}/{note.fret}" for note in chosen)


def measure_from(notes: Sequence[Note], frets: Sequence[int] = PROFILE_FRETS) -> MeasuredGuitar:
    """Measure a guitar from recorded notes, through a file."""
    sound, labels = labelled_recording(notes, frets)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "labelled.wav"
        sf.write(path, sound, RATE_HZ)
        return measure_guitar(path, "measured", "standard", labels)


def strings_from(guitar: MeasuredGuitar) -> StringSet:
    """Strings as they are read back from the instrument file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "measured.json"
        path.write_bytes(guitar.file)
        strings = string_set_of(read_instrument(path))
    assert strings is not None
    return strings


def tally(notes: Sequence[Note], strings: StringSet, length_s: float) -> Tally:
    """Count how often each note tells its string."""
    counted = Tally()
    for note in notes:
        counted.add(note, measure(note, length_s), strings)
    return counted


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?", default=DATA)
    folder = parser.parse_args().folder
    guitar = measure_from(strat_notes(folder, PROFILE_RECORDING))
    print(f"measured from {len(guitar.profile.used)} notes, missing {guitar.profile.missing}")
    for number, string in enumerate(guitar.profile.strings, 1):
        print(f"  string {number}: {string}")
    computed, profiled = standard_strings(), strings_from(guitar)
    tried, takes = strat_notes(folder, TRIED_RECORDING), take_notes(folder, computed)
    for length_s in LENGTHS_S:
        print(f"strat 2, {length_s} s, profiled:     {tally(tried, profiled, length_s)}")
        print(f"strat 2, {length_s} s, not profiled: {tally(tried, computed, length_s)}")
        for name, gauges_in in OTHER_SETS:
            other = tally(tried, replace(computed, gauges_in=gauges_in), length_s)
            print(f"strat 2, {length_s} s, not profiled, {name} set assumed: {other}")
        if takes:
            print(f"takes,   {length_s} s, not profiled: {tally(takes, computed, length_s)}")


if __name__ == "__main__":
    main()
