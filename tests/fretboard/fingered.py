"""Lines with their fingering, and a short text for writing them by hand.

Text of a line: ``string.fret`` is a note (string 1 is the highest-sounding). ``:n`` sets the length of what
follows to n sixteenths (``:4/3`` a triplet eighth), ``_n`` rests for n sixteenths. Before a note: ``h``
hammer-on, ``p`` pull-off, ``s`` slide from the note before. After it: ``^2`` bend by two semitones, ``=2``
pre-bend, ``~`` vibrato, ``*`` natural harmonic, ``&`` rings on under the next note.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from transcriber.records.heard import HeardNote
from transcriber.records.placed import Instrument
from transcriber.records.technique import Technique

GUITAR = Instrument("guitar", (64, 59, 55, 50, 45, 40), 22)
KINDS = ("box", "shifting", "three_a_string", "open", "one_string", "octaves")

_NODE_SEMITONES = {12: 12, 7: 19, 19: 19, 5: 24}
_ARRIVALS = {"h": "hammer_on", "p": "pull_off", "s": "slide"}
_NOTE = re.compile(r"([hps]?)(\d+)\.(\d+)(?:([\^=])([\d.]+))?([~*&]*)")


@dataclass(frozen=True)
class FingeredNote:
    """One note as it is played."""

    onset_s: float
    end_s: float
    string: int
    fret: int
    techniques: tuple[Technique, ...] = ()

    def pitch_midi(self, instrument: Instrument = GUITAR) -> int:
        harmonic = any(technique.kind == "natural_harmonic" for technique in self.techniques)
        return instrument.open_midi(self.string) + (_NODE_SEMITONES[self.fret] if harmonic else self.fret)

    def heard(self, instrument: Instrument = GUITAR) -> HeardNote:
        """Return the note as listening would hand it on, its place not told."""
        empty = np.zeros(0)
        empty.flags.writeable = False
        return HeardNote(
            onset_s=self.onset_s,
            end_s=self.end_s,
            pitch_midi=self.pitch_midi(instrument),
            velocity=90,
            techniques=self.techniques,
            contour_times_s=empty,
            contour_cents=empty,
            pitch_confidence=1.0,
            onset_confidence=1.0,
            technique_confidence=1.0,
        )


@dataclass(frozen=True)
class FingeredLine:
    """A line; `position` is the fret of the index finger at its start, 0 for open position."""

    name: str
    kind: str
    position: int
    notes: tuple[FingeredNote, ...]

    def heard(self, instrument: Instrument = GUITAR) -> list[HeardNote]:
        return [note.heard(instrument) for note in self.notes]

    def places(self) -> list[tuple[int, int]]:
        return [(note.string, note.fret) for note in self.notes]


def line_from_text(name: str, kind: str, position: int, tempo: float, text: str) -> FingeredLine:
    """Read the text of a line; `tempo` in quarter notes a minute."""
    sixteenth_s = 15.0 / tempo
    at = Fraction(0)
    length = Fraction(2)
    notes = []
    for word in text.replace("|", " ").split():
        if word.startswith(":"):
            length = Fraction(word[1:])
        elif word.startswith("_"):
            at += Fraction(word[1:])
        else:
            match = _NOTE.fullmatch(word)
            if match is None:
                raise ValueError(f"line {name}: '{word}' is not a note")
            sounding = length + 4 if "&" in word else length
            notes.append(
                FingeredNote(
                    onset_s=float(at) * sixteenth_s,
                    end_s=float(at + sounding) * sixteenth_s,
                    string=int(match[2]),
                    fret=int(match[3]),
                    techniques=_techniques(match),
                )
            )
            at += length
    return FingeredLine(name, kind, position, tuple(notes))


def _techniques(match: re.Match[str]) -> tuple[Technique, ...]:
    arrival, _, _, bend, semitones, marks = match.groups()
    found = []
    if arrival:
        found.append(Technique(_ARRIVALS[arrival]))
    if bend:
        found.append(Technique("bend" if bend == "^" else "pre_bend", semitones=float(semitones)))
    for mark, kind in (("~", "vibrato"), ("*", "natural_harmonic"), ("&", "let_ring")):
        if mark in marks:
            found.append(Technique(kind))
    return tuple(found)
