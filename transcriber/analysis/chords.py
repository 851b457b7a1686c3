"""Chord symbols: reading them, and laying them under a take.

A symbol is a root, a quality and what is added, as lead sheets write it (common practice): ``Am``,
``F#m7b5``, ``Gsus4``, ``C7#9``, ``D/F#``. A row of symbols has one bar between bar lines. The symbols of a
bar share it equally, ``/`` holds the one before for one share more;
``%`` is the bar before again, ``NC`` is none.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property, lru_cache

from transcriber.analysis.scales import pitch_class
from transcriber.errors import UsageError
from transcriber.records.analysed import ChordSpan

NO_CHORD = "NC"
MOST_BARS = 512

# Quality by how it is written, the longest first where one begins another: semitones above the root.
QUALITIES: dict[str, tuple[int, ...]] = {
    "": (0, 4, 7), "maj": (0, 4, 7), "m": (0, 3, 7), "min": (0, 3, 7), "-": (0, 3, 7), "5": (0, 7),
    "dim": (0, 3, 6), "aug": (0, 4, 8), "+": (0, 4, 8),
    "sus2": (0, 2, 7), "sus4": (0, 5, 7), "sus": (0, 5, 7), "7sus4": (0, 5, 7, 10), "9sus4": (0, 2, 5, 7, 10),
    "6": (0, 4, 7, 9), "m6": (0, 3, 7, 9), "69": (0, 2, 4, 7, 9), "6/9": (0, 2, 4, 7, 9),
    "m69": (0, 2, 3, 7, 9),
    "7": (0, 4, 7, 10), "maj7": (0, 4, 7, 11), "M7": (0, 4, 7, 11), "m7": (0, 3, 7, 10),
    "min7": (0, 3, 7, 10),
    "-7": (0, 3, 7, 10), "mmaj7": (0, 3, 7, 11), "mM7": (0, 3, 7, 11), "m7b5": (0, 3, 6, 10),
    "dim7": (0, 3, 6, 9), "aug7": (0, 4, 8, 10), "+7": (0, 4, 8, 10),
    "9": (0, 2, 4, 7, 10), "maj9": (0, 2, 4, 7, 11), "M9": (0, 2, 4, 7, 11), "m9": (0, 2, 3, 7, 10),
    "11": (0, 2, 4, 5, 7, 10), "m11": (0, 2, 3, 5, 7, 10),
    "13": (0, 2, 4, 7, 9, 10), "maj13": (0, 2, 4, 7, 9, 11), "m13": (0, 2, 3, 7, 9, 10),
    "add9": (0, 2, 4, 7), "add2": (0, 2, 4, 7), "madd9": (0, 2, 3, 7), "add4": (0, 4, 5, 7),
    "add11": (0, 4, 5, 7),
}  # fmt: skip
# What may follow the quality: semitones taken away (where there) and added.
ALTERATIONS: dict[str, tuple[int | None, int]] = {
    "b5": (7, 6), "#5": (7, 8), "b9": (2, 1), "#9": (2, 3), "#11": (5, 6), "b13": (9, 8), "add9": (None, 2),
    "add11": (None, 5), "add13": (None, 9), "9": (None, 2), "11": (None, 5), "13": (None, 9),
}  # fmt: skip
_SYMBOL = re.compile(r"([A-G])([#b]?)(.*)")
_ALTERATION = re.compile("|".join(sorted(map(re.escape, ALTERATIONS), key=len, reverse=True)))
_BASS = re.compile(r"(.*)/([A-G][#b]?)")

# Degrees over a chord by semitones above its root: where its triad has them, and elsewhere.
_IN_TRIAD = {2: "2", 5: "4", 6: "b5", 8: "#5"}
_OVER = ("1", "b9", "9", "b3", "3", "11", "#11", "5", "b13", "13", "b7", "7")


@dataclass(frozen=True)
class ChordSymbol:
    """A chord: its symbol, root, sorted semitones above the root, and bass note if another."""

    name: str
    root: str
    steps: tuple[int, ...]
    bass: str | None = None

    @cached_property
    def root_class(self) -> int:
        """Pitch class of the root."""
        return pitch_class(self.root)

    @cached_property
    def classes(self) -> frozenset[int]:
        """Pitch classes of the chord's notes, the bass among them."""
        own = {(self.root_class + step) % 12 for step in self.steps}
        return frozenset(own | ({pitch_class(self.bass)} if self.bass else set()))

    @cached_property
    def triad(self) -> tuple[int, ...]:
        """Its three lowest tones by thirds: root, third (or what stands for it) and fifth."""
        third = next((step for step in (4, 3, 5, 2) if step in self.steps), None)
        fifth = next((step for step in (7, 6, 8) if step in self.steps), None)
        return tuple(step for step in (0, third, fifth) if step is not None)

    def degree(self, pitch: int) -> str:
        """Degree of a pitch against the root: chord tones as the chord has them, the rest as tensions."""
        above = (pitch - self.root_class) % 12
        if above == 3 and 4 in self.steps:
            return "#9"
        if above == 9 and self.steps == QUALITIES["dim7"]:
            return "bb7"
        if above == 9 and 9 in self.steps and not {10, 11} & set(self.steps):
            return "6"
        return _IN_TRIAD[above] if above in _IN_TRIAD and above in self.triad else _OVER[above]


@lru_cache(maxsize=1024)
def parse_chord(text: str) -> ChordSymbol:
    """Read a chord symbol.

    Raises
    ------
    UsageError
        If it is none; the message names it.
    """
    whole, bass = text, None
    if text not in ("6/9",) and (slashed := _BASS.fullmatch(text)):
        text, bass = slashed[1], slashed[2]
    found = _SYMBOL.fullmatch(text)
    steps = _steps(found[3].replace("(", "").replace(")", "").replace(",", "")) if found else None
    if found is None or steps is None:
        raise UsageError(
            f"'{whole}' is no chord symbol known here; write a root and a quality, "
            "such as Am, F#m7, Gsus4 or D/F#"
        )
    return ChordSymbol(whole, found[1] + found[2], steps, bass)


def _steps(rest: str) -> tuple[int, ...] | None:
    """Semitones of a quality with what is added to it; None if it is none."""
    for length in range(len(rest), -1, -1):
        quality, added = rest[:length], rest[length:]
        if quality not in QUALITIES:
            continue
        steps = set(QUALITIES[quality])
        while added and (alteration := _ALTERATION.match(added)):
            away, new = ALTERATIONS[alteration[0]]
            steps.discard(12 if away is None else away)
            steps.add(new)
            added = added[alteration.end() :]
        if not added:
            return tuple(sorted(steps))
    return None


def parse_progression(text: str) -> tuple[tuple[tuple[str, Fraction], ...], ...]:
    """Read a row of chords: for every bar its (symbol, share of the bar).

    Parameters
    ----------
    text : str
        ``"Am | F | C G"``; without any bar line, every symbol is a bar. `NO_CHORD` stands for no chord.

    Raises
    ------
    UsageError
        If a symbol is none, a bar is empty, or there is nothing to hold or to repeat.
    """
    body = text.strip()
    words = body.strip("|").split()
    bars = (
        [part.split() for part in body.strip("|").split("|")] if "|" in body else [[word] for word in words]
    )
    if not words:
        raise UsageError("no chords are given; write them one a bar, such as 'Am | F | C | G'")
    if len(bars) > MOST_BARS:
        raise UsageError(f"{len(bars)} bars of chords are given; at most {MOST_BARS} work")
    made: list[tuple[tuple[str, Fraction], ...]] = []
    for number, bar in enumerate(bars, 1):
        if not bar:
            raise UsageError(
                f"bar {number} of the chords is empty; write its chord, % for the bar before, or NC"
            )
        if bar == ["%"]:
            if not made:
                raise UsageError("the chords begin with %; there is no bar before it to repeat")
            made.append(made[-1])
            continue
        made.append(_bar(bar, number))
    return tuple(made)


def _bar(symbols: list[str], number: int) -> tuple[tuple[str, Fraction], ...]:
    share = Fraction(1, len(symbols))
    held: list[tuple[str, Fraction]] = []
    for symbol in symbols:
        if symbol == "/":
            if not held:
                raise UsageError(
                    f"bar {number} of the chords begins with /; there is no chord before it to hold"
                )
            held[-1] = (held[-1][0], held[-1][1] + share)
            continue
        name = NO_CHORD if symbol.upper().replace(".", "") == NO_CHORD else parse_chord(symbol).name
        held.append((name, share))
    return tuple(held)


def lay_chords(text: str, bar_beats: int, end: Fraction) -> tuple[ChordSpan, ...]:
    """Lay a row of chords under a take from bar 1 on, over and over, up to the end of its last bar.

    Parameters
    ----------
    text : str
        See `parse_progression`.
    bar_beats : int
        Denominator beats in a bar.
    end : Fraction
        Where the last note ends, in denominator beats from beat 1 of bar 1.
    """
    bars = parse_progression(text)
    count = max(1, -int(-end // bar_beats))
    spans = []
    for number in range(count):
        at = Fraction(number * bar_beats)
        for name, share in bars[number % len(bars)]:
            if name != NO_CHORD:
                spans.append(ChordSpan(name, at, share * bar_beats))
            at += share * bar_beats
    return tuple(spans)
