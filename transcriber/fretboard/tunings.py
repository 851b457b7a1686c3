"""Open strings in words: note names to MIDI numbers and back, and the bounds of a tuning that can be strung.

Players name strings from the lowest up ("E2 A2 D3 G3 B3 E4"); records count from string 1, the highest
sounding, down. Octaves follow scientific pitch notation: C4 is MIDI 60.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from transcriber.errors import UsageError
from transcriber.records.pitch import pitch_name

STRINGS_MIN, STRINGS_MAX = 3, 12
# A0 lies below any bass string in use; E6 is two octaves over the first string of a guitar.
OPEN_MIDI_MIN, OPEN_MIDI_MAX = 21, 88

_STEPS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTALS = {"": 0, "#": 1, "♯": 1, "b": -1, "♭": -1}
_NOTE = re.compile(r"([A-Ga-g])([#♯b♭]?)(\d+)?")


def check_tuning(tuning_midi: Sequence[int]) -> tuple[int, ...]:
    """Return the tuning (string 1 first) if a fretted instrument can be strung so.

    Raises
    ------
    UsageError
        With fewer than 3 or more than 12 strings, a string out of A0..E6, or a string lower than the one
        below it.
    """
    tuning = tuple(tuning_midi)
    if not STRINGS_MIN <= len(tuning) <= STRINGS_MAX:
        raise UsageError(
            f"a tuning of {len(tuning)} strings is out of {STRINGS_MIN} to {STRINGS_MAX}; "
            "name one note for each string, from the lowest string up"
        )
    for pitch in tuning:
        if not OPEN_MIDI_MIN <= pitch <= OPEN_MIDI_MAX:
            raise UsageError(
                f"an open string at MIDI {pitch} is out of {OPEN_MIDI_MIN} to {OPEN_MIDI_MAX} "
                f"({pitch_name(OPEN_MIDI_MIN)} to {pitch_name(OPEN_MIDI_MAX)}); correct the octave"
            )
    for higher, lower in pairwise(tuning):
        if higher < lower:
            raise UsageError(
                f"string {pitch_name(higher)} comes after {pitch_name(lower)} but sounds lower; "
                "name the strings from the lowest up"
            )
    return tuning


def read_open_strings(text: str, familiar: Sequence[int] | None) -> tuple[int, ...]:
    """Read note names or MIDI numbers, lowest string first, into a tuning with string 1 first.

    Parameters
    ----------
    text : str
        "E2 A2 D3 G3 B3 E4", "DADGBE", "D-A-D-G-B-E" or "40 45 50 55 59 64".
    familiar : sequence of int or None
        A usual tuning, string 1 first: a note without its octave digit is taken in the octave nearest to
        the same string there. None if digits are required.

    Raises
    ------
    UsageError
        If the text cannot be read, or the tuning is impossible (see `check_tuning`).
    """
    if re.fullmatch(r"[\d\s,;-]+", text) and re.search(r"\d", text):
        return check_tuning(tuple(int(number) for number in re.findall(r"\d+", text))[::-1])
    strings = _split_names(text)
    if familiar is not None and len(strings) != len(familiar):
        familiar = None
    lowest_first = familiar[::-1] if familiar is not None else None
    pitches = []
    for index, (step, octave) in enumerate(strings):
        if octave is not None:
            pitches.append(step + 12 * (octave + 1))
        elif lowest_first is not None:
            usual = lowest_first[index]
            pitches.append(usual + (step - usual + 6) % 12 - 6)
        else:
            raise UsageError(
                f"tuning '{text}' names {len(strings)} strings without octaves; add them, as in E2 A2 D3"
            )
    return check_tuning(pitches[::-1])


def count_strings(text: str) -> int:
    """Count the strings a tuning text names, 0 where it cannot be read."""
    try:
        return len(_split_names(text))
    except UsageError:
        return 0


def _split_names(text: str) -> list[tuple[int, int | None]]:
    """Split into (semitones above C before octave wrapping, octave or None), lowest string first."""
    found: list[tuple[int, int | None]] = []
    for word in re.findall(r"[^\s,;-]+", text):
        # In a run of small letters b is the note: "dadgbe" has no flat in it.
        pattern = re.compile(r"([a-g])([#♯♭]?)(\d+)?") if len(word) > 3 and word.islower() else _NOTE
        at = 0
        while at < len(word):
            match = pattern.match(word, at)
            if match is None:
                raise UsageError(
                    f"tuning '{text}' is neither a built-in name nor note names; "
                    "write it from the lowest string up, as in 'E2 A2 D3 G3 B3 E4'"
                )
            letter, accidental, octave = match.groups()
            step = _STEPS[letter.upper()] + _ACCIDENTALS[accidental]
            found.append((step, int(octave) if octave is not None else None))
            at = match.end()
    return found
