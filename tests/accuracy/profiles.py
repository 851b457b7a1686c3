"""Guitars that were measured, for drafting with ``--given profile``."""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path

from tests.fretboard.string_of_notes import strat_notes
from tests.fretboard.string_profiled import DATA, measure_from

# The lines of `strat_first` are spliced from recording 1: the guitar is measured from recording 2, so that no
# sound is in both. Of its frets 3, 5, 8, 12 and 15 a player would record some low ones and the octave.
PROFILED_SET, PROFILE_RECORDING, PROFILE_FRETS = "strat_first", 2, (3, 5, 12)


@functools.cache
def instrument_file(set_name: str) -> Path:
    """Write the instrument file of a set's guitar, measured once in a process.

    Raises
    ------
    ValueError
        If the set's guitar has no recordings besides those that its lines are made of.
    """
    if set_name != PROFILED_SET:
        raise ValueError(f"set {set_name} has no profile; use --sets {PROFILED_SET}")
    guitar = measure_from(strat_notes(DATA, PROFILE_RECORDING), PROFILE_FRETS)
    path = Path(_folder().name) / f"{set_name}.json"
    path.write_bytes(guitar.file)
    return path


@functools.cache
def _folder() -> tempfile.TemporaryDirectory[str]:
    """A folder that ends with the process."""
    return tempfile.TemporaryDirectory(prefix="transcriber_profile_")
