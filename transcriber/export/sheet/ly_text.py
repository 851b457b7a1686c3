"""Atoms of LilyPond's text: quoted words, pitches, durations, chord names.

Convention: everything a person typed goes through `quoted`. Inside its quotation marks the program reads two
characters in a special way, the quotation mark and the backslash, and both are escaped there.
"""

from __future__ import annotations

import re
from fractions import Fraction

from transcriber.export.pitch_names import SpelledPitch
from transcriber.export.plain_words import one_line
from transcriber.export.written_bars import NoteValue

ALTERATIONS = {-2: "eses", -1: "es", 0: "", 1: "is", 2: "isis"}
OCTAVE_WITHOUT_MARK = 3
"""The octave below middle C is written without a mark."""

_CHORD_PARTS = re.compile(r"(?<=[A-G])[#b]|[#b](?=\d)|[^#b]+|[#b]")


def quoted(words: str) -> str:
    r"""Words as one string that LilyPond reads as words and nothing else.

    Examples
    --------
    >>> quoted('a "low" E\\A')
    '"a \\"low\\" E\\\\A"'
    """
    return _string(one_line(words))


def _string(words: str) -> str:
    escaped = words.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def pitch(spelled: SpelledPitch) -> str:
    """Absolute pitch in LilyPond's default language, such as ``fis'``."""
    octave = spelled.octave - OCTAVE_WITHOUT_MARK
    return spelled.step.lower() + ALTERATIONS[spelled.alter] + ("'" * octave if octave > 0 else "," * -octave)


def duration(value: NoteValue) -> str:
    """A written value without its tuplet, which stands around it."""
    return str(value.base) + "." * value.dots


def span(whole_notes: Fraction) -> str:
    """A length of any size, for skips and words."""
    return f"1*{whole_notes.numerator}/{whole_notes.denominator}"


def chord_name(name: str) -> str:
    r"""A chord symbol with real sharps and flats.

    Examples
    --------
    >>> chord_name("Bb7")
    '\\markup \\concat { "B" \\sheetFlat "7" }'
    """
    signs = {"#": "\\sheetSharp", "b": "\\sheetFlat"}
    parts = [signs.get(part) or _string(part) for part in _CHORD_PARTS.findall(one_line(name))]
    return "\\markup \\concat { " + " ".join(parts) + " }"
