"""Chord symbols taken apart: root, kind and bass, as notation programs hold them (MusicXML 4.0 `harmony`)."""

from __future__ import annotations

import re
from dataclasses import dataclass

NO_CHORD = frozenset({"N.C.", "NC", "n.c.", "-"})

KINDS: dict[str, str] = {
    "": "major",
    "maj": "major",
    "M": "major",
    "m": "minor",
    "min": "minor",
    "-": "minor",
    "7": "dominant",
    "maj7": "major-seventh",
    "M7": "major-seventh",
    "m7": "minor-seventh",
    "min7": "minor-seventh",
    "-7": "minor-seventh",
    "m(maj7)": "major-minor",
    "mM7": "major-minor",
    "6": "major-sixth",
    "m6": "minor-sixth",
    "9": "dominant-ninth",
    "maj9": "major-ninth",
    "m9": "minor-ninth",
    "11": "dominant-11th",
    "maj11": "major-11th",
    "m11": "minor-11th",
    "13": "dominant-13th",
    "maj13": "major-13th",
    "m13": "minor-13th",
    "sus2": "suspended-second",
    "sus4": "suspended-fourth",
    "sus": "suspended-fourth",
    "dim": "diminished",
    "dim7": "diminished-seventh",
    "m7b5": "half-diminished",
    "aug": "augmented",
    "+": "augmented",
    "aug7": "augmented-seventh",
    "5": "power",
}
"""Endings of chord symbols that one kind says whole; any other is kept as words."""

OTHER, NONE = "other", "none"

_SYMBOL = re.compile(r"(?P<root>[A-G][#b]?)(?P<kind>[^/]*)(?:/(?P<bass>[A-G][#b]?))?", flags=re.ASCII)


@dataclass(frozen=True)
class ChordSymbol:
    """One chord symbol.

    Attributes
    ----------
    root, bass : str or None
        Letter with ``#`` or ``b``; None where there is none.
    kind : str
        A kind of MusicXML, `OTHER` if none says it whole, `NONE` for no chord.
    words : str
        What stands behind the root, as it was written; the whole name where it has no root.
    """

    root: str | None
    kind: str
    words: str
    bass: str | None = None


def parse_chord(name: str) -> ChordSymbol:
    """Take a chord symbol apart; what cannot be read is kept as words.

    Examples
    --------
    >>> parse_chord("F#m7/C#")
    ChordSymbol(root='F#', kind='minor-seventh', words='m7', bass='C#')
    >>> parse_chord("E7#9").kind
    'other'
    """
    if name in NO_CHORD:
        return ChordSymbol(None, NONE, name)
    match = _SYMBOL.fullmatch(name)
    if match is None:
        return ChordSymbol(None, OTHER, name)
    return ChordSymbol(match["root"], KINDS.get(match["kind"], OTHER), match["kind"], match["bass"])
