"""Scales, signatures and the spelling of notes.

A pitch class is 0 to 11 from C. A signature is counted in fifths: sharps positive, flats negative. Spelling
follows common practice: a degree of the scale keeps its own letter; a note outside the scale that rises by a
half step is written as a raised degree, else as a lowered one.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property

from transcriber.errors import UsageError
from transcriber.records.analysed import KeyMode

LETTERS = "CDEFGAB"
NATURALS = (0, 2, 4, 5, 7, 9, 11)
"""Pitch classes of the letters, which are the degrees of C major too."""

MAJOR = (0, 2, 4, 5, 7, 9, 11)
MODE_DEGREE: dict[KeyMode, int] = {
    "major": 0, "dorian": 1, "phrygian": 2, "lydian": 3, "mixolydian": 4, "minor": 5, "locrian": 6,
}  # fmt: skip
"""Degree of the major scale, from 0, that a mode begins on."""

MINOR_PENTATONIC = (0, 3, 5, 7, 10)
_FIFTHS_OF_LETTER = dict(zip("FCGDAEB", range(-1, 6), strict=True))

# How a half step is written against the major scale: lowered, and raised where it leads upward.
_LOWERED = tuple(
    zip((0, 1, 1, 2, 2, 3, 4, 4, 5, 5, 6, 6), (0, -1, 0, -1, 0, 0, -1, 0, -1, 0, -1, 0), strict=True)
)
_RAISED = {1: (0, 1), 6: (3, 1), 8: (4, 1)}
_KEY_TEXT = re.compile(r"([A-Ga-g])([#b]?)\s*[- ]?\s*([A-Za-z]*)")
_MODE_WORDS: dict[str, KeyMode] = {
    "": "major",
    "m": "minor",
    "M": "major",
    "maj": "major",
    "min": "minor",
    "ionian": "major",
    "aeolian": "minor",
}


def pitch_class(name: str) -> int:
    """Pitch class of a note name such as ``"F#"`` or ``"Bbb"``."""
    return (NATURALS[LETTERS.index(name[0])] + name.count("#") - name.count("b")) % 12


def spelled(letter: int, alter: int) -> str:
    """Name of a letter (0 is C) with so many sharps, or flats where negative."""
    return LETTERS[letter % 7] + ("#" * alter if alter > 0 else "b" * -alter)


def degree_name(degree: int, alter: int) -> str:
    """Name of a degree counted from 0, such as ``"b3"``."""
    return ("#" * alter if alter > 0 else "b" * -alter) + str(degree + 1)


@dataclass(frozen=True)
class Scale:
    """A key: the spelled name of its tonic, and its mode."""

    tonic: str
    mode: KeyMode

    @cached_property
    def tonic_class(self) -> int:
        """Pitch class of the tonic."""
        return pitch_class(self.tonic)

    @cached_property
    def steps(self) -> tuple[int, ...]:
        """Semitones of the seven degrees above the tonic."""
        start = MODE_DEGREE[self.mode]
        return tuple((MAJOR[(start + i) % 7] - MAJOR[start]) % 12 for i in range(7))

    @cached_property
    def classes(self) -> frozenset[int]:
        """Pitch classes of the scale."""
        return frozenset((self.tonic_class + step) % 12 for step in self.steps)

    @property
    def parent_class(self) -> int:
        """Pitch class of the major scale with the same notes."""
        return (self.tonic_class - MAJOR[MODE_DEGREE[self.mode]]) % 12

    @property
    def signature(self) -> int:
        """Sharps of the signature, flats counted negative."""
        tonic = _FIFTHS_OF_LETTER[self.tonic[0]] + 7 * (self.tonic.count("#") - self.tonic.count("b"))
        return tonic - (0, 2, 4, -1, 1, 3, 5)[MODE_DEGREE[self.mode]]

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The seven notes, spelled."""
        return tuple(self.spell(self.tonic_class + step)[0] for step in self.steps)

    @property
    def relative(self) -> str:
        """Name of the relative key: minor for major, major for minor and for the other modes."""
        index = (5 if self.mode == "major" else -MODE_DEGREE[self.mode]) % 7
        return f"{self.names[index]} {'minor' if self.mode == 'major' else 'major'}"

    def spell(self, pitch: int, rises: bool = False) -> tuple[str, str]:
        """Spell a pitch: its name, and its degree against the major scale of the tonic.

        Parameters
        ----------
        pitch : int
            Pitch class or MIDI number.
        rises : bool
            Whether the next note lies a half step above: then a note outside the scale is a raised degree.
        """
        above = (pitch - self.tonic_class) % 12
        if above in self.steps:
            degree = self.steps.index(above)
            alter = above - MAJOR[degree]
        elif rises and above in _RAISED and MAJOR[_RAISED[above][0]] in self.steps:
            degree, alter = _RAISED[above]
        else:
            degree, alter = _LOWERED[above]
        letter = LETTERS.index(self.tonic[0]) + degree
        sharps = (pitch - NATURALS[letter % 7] + 6) % 12 - 6
        return spelled(letter, sharps), degree_name(degree, alter)


def scale_on(tonic_class: int, mode: KeyMode) -> Scale:
    """Make the scale whose signature has the fewest signs; six sharps rather than six flats in major."""
    found = []
    for letter in range(7):
        alter = (tonic_class - NATURALS[letter] + 6) % 12 - 6
        if abs(alter) <= 1:
            found.append(Scale(spelled(letter, alter), mode))
    wanted = -1 if mode == "minor" else 1
    return min(found, key=lambda scale: (abs(scale.signature), -wanted * scale.signature))


def parse_key(text: str) -> Scale:
    """Read a key as a person writes it: ``"A minor"``, ``"F#m"``, ``"D dorian"``, ``"Bb"``.

    Raises
    ------
    UsageError
        If it is no key, or one of more than seven sharps or flats.
    """
    found = _KEY_TEXT.fullmatch(text.strip())
    word = found[3] if found else ""
    mode = _MODE_WORDS.get(word if word == "M" else word.lower())
    if found is not None and mode is None and word.lower() in MODE_DEGREE:
        mode = next(each for each in MODE_DEGREE if each == word.lower())
    if found is None or mode is None:
        modes = ", ".join(MODE_DEGREE)
        raise UsageError(f"'{text}' is no key; write a note and a mode, such as 'A minor' (modes: {modes})")
    scale = Scale(found[1].upper() + found[2], mode)
    if abs(scale.signature) > 7:
        near = scale_on(scale.tonic_class, mode)
        raise UsageError(
            f"'{text}' would need {abs(scale.signature)} signs; write it as '{near.tonic} {mode}'"
        )
    return scale
