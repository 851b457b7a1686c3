"""Lines written by hand: own compositions in the idiom, each with its fingering.

One note is ``string/fret:length`` in quarter-note beats, ``r:length`` is a rest. After the length: ``b2``
bend of two semitones, ``p2`` pre-bend, ``-`` release to the fret, ``v`` vibrato, ``h`` hammer-on, ``o``
pull-off, ``s`` slide from the note before. Bars are set apart by ``|`` for the eye only; `start` is where the
first note or rest stands, negative in a pickup bar.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

from tests.accuracy.compose import Composed
from tests.accuracy.necks import GUITAR
from transcriber.records.line import Line, LineNote
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

_TOKEN = re.compile(r"(?:(\d)/(\d+)|r):(\d+(?:/\d+)?)((?:b[\d.]+|p[\d.]+|[-vhos])*)")
_MARK = re.compile(r"([bp])([\d.]+)|([-vhos])")


@dataclass(frozen=True)
class Written:
    """A hand-written line as text."""

    title: str
    tempo: int
    position: int
    style: str
    text: str
    start: Fraction = Fraction(0)


LINES = (
    Written(
        "Lamp oil", 84, 5, "box",
        "2/8:1/2 1/5:1/2 | "
        "1/8:1b2 1/5:1/2 2/8:1/2 2/5:1/2o 3/7:1/2 3/5:1/2o 4/7:1/2v | "
        "r:1/2 4/5:1/2 4/7:1/2h 3/5:1/2 3/7:1b2- 3/5:1/2 4/7:1/2 | "
        "4/7:3/2v",
        Fraction(-1),
    ),
    Written(
        "Ferry at six", 112, 3, "three_a_string",
        "6/3:1/4 6/5:1/4h 6/7:1/4h 5/3:1/4 5/5:1/4h 5/7:1/4h 4/4:1/4 4/5:1/4h 4/7:1/4h 3/4:1/4 "
        "3/5:1/4h 3/7:1/4h 2/5:1/4 2/7:1/4h 2/8:1/2h | "
        "1/5:1/3 1/7:1/3 1/8:1/3 1/7:1/2 1/5:1/2o 2/8:1/2 2/7:1/2o 2/5:1v",
    ),
    Written(
        "Slate roof", 72, 12, "box",
        "1/15:1/6 1/12:1/6o 2/15:1/6 1/12:1/6 2/15:1/6 2/12:1/6o 3/14:1/4 3/12:1/4o 4/14:1/2 | "
        "3/14:1/2b2 3/14:1/2p2- 3/12:1/2 4/14:1/2v r:1 | "
        "2/15:1/2b1 2/15:1/2 2/12:1/4o 3/14:1/4 2/12:1/2 3/14:1v",
    ),
    Written(
        "Tin whistle lane", 126, 0, "open",
        "1/0:1/2 2/3:1/2 2/1:1/2 2/0:1/2o 3/2:1/2 3/0:1/2o 4/4:1/2 4/2:1/2o | "
        "4/0:1/2 5/3:1/2 5/2:1/2o 5/0:1/2o 6/3:1/2 6/0:1/2 6/3:1/2 5/0:1/2 | "
        "r:1/2 5/2:1/2 4/0:1/2 4/2:1/2h 3/0:3/2",
    ),
    Written(
        "Two doors up", 96, 5, "shift",
        "3/5:1/2 3/7:1/2s 2/5:1/2 2/8:1/2 2/10:1/2s 1/8:1/2 1/10:1/2h 1/12:1/2s | "
        "1/15:1b2 1/12:1/2 2/15:1/2 2/13:1/2o 3/14:1/2 3/12:1/2o 3/14:1/2v | "
        "4/14:1/2 4/12:1/2o 4/10:1/2s 4/7:1/2s 5/10:1/2 5/7:1/2o 4/7:1v",
    ),
    Written(
        "Gravel", 66, 7, "box",
        "3/9:1/4 3/9:1/4 2/7:1/4 3/9:1/4 2/10:1/2b1 2/7:1/4 3/9:1/4 3/7:1/4o 4/9:3/4v r:1/2 "
        "4/7:1/6 4/9:1/6h 3/7:1/6 3/9:1/2 | "
        "r:1/4 1/7:1/4 1/10:1/2b2 1/7:1/4 2/10:1/4 2/7:1/4o 3/9:1/4 2/7:1/2 3/9:1/2 3/7:1/2o "
        "4/9:1v",
    ),
    Written(
        "Kite string", 140, 10, "three_a_string",
        "1/14:1/2 1/12:1/2o 1/10:1/2o 2/14:1/2 2/12:1/2o 2/10:1/2o 3/13:1/2 3/11:1/2o | "
        "3/9:1/2o 4/12:1/2 4/11:1/2o 4/9:1/2o 5/12:1 r:1/2 5/12:1/2 | "
        "4/9:1/2 4/11:1/2h 4/12:1/2h 3/9:1/2 3/11:1/2h 3/13:1/2h 2/10:1/2 2/12:3/2",
    ),
    Written(
        "Cold harbour", 60, 5, "box",
        "1/5:1/2 2/8:1/4 2/5:1/4o | "
        "3/7:1/2b2 3/5:1/4 4/7:1/4 r:1/4 4/5:1/4 4/7:1/2 3/5:1/6 3/7:1/6h 2/5:1/6 2/8:1/4b2 "
        "2/5:1/4 1/5:1v | "
        "r:1/2 1/8:1/2p2- 1/5:1/4 2/8:1/4 2/5:1/4 3/7:1/4 3/5:1/2o 4/7:1v",
        Fraction(-1),
    ),
    Written(
        "Brick yard shuffle walk", 104, 2, "box",
        "6/3:1/3 6/3:1/3 5/2:1/3 4/2:2/3 5/5:1/3 5/2:2/3 5/5:1/3 4/2:1 | "
        "r:1/3 4/5:1/3 4/2:1/3o 5/5:2/3 5/2:1/3 6/5:1 6/3:2/3o 6/5:1/3 | "
        "5/2:1 4/2:2/3 4/5:1/3 3/2:1/3 3/4:1/3h 3/2:1/3o 4/5:1",
    ),
    Written(
        "Long way down", 90, 12, "shift",
        "1/15:1/2 1/12:1/2o 1/10:1/2s 2/13:1/2 2/10:1/2o 2/8:1/2s 3/9:1/2 3/7:1/2o | "
        "3/5:1/2s 4/7:1/2 4/5:1/2o 5/7:1/2 5/5:1/2o 5/3:1/2s 6/5:1/2 6/3:1/2o | "
        "6/5:1/2h 5/3:1/2 5/5:1/2h 5/7:1/2s 4/5:1/2 4/7:1/2h 3/5:1v",
    ),
)  # fmt: skip
_KINDS = {"v": "vibrato", "h": "hammer_on", "o": "pull_off", "s": "slide"}


def parse(written: Written) -> Composed:
    """Turn a line's text into records."""
    at = written.start
    notes = []
    for token in written.text.replace("|", " ").split():
        found = _TOKEN.fullmatch(token)
        if not found:
            raise ValueError(f"{written.title}: cannot read {token!r}")
        string, fret, length, marks = found.groups()
        if string:
            velocity = 92 if at.denominator == 1 else 84
            notes.append(
                LineNote(at, Fraction(length), int(string), int(fret), velocity, tuple(_techniques(marks)))
            )
        at += Fraction(length)
    line = Line(written.title, GUITAR, Meter(4, 4), float(written.tempo), tuple(notes))
    return Composed(line, "written", written.style, "hand", written.position, 0)


def _techniques(marks: str) -> list[Technique]:
    found = []
    for kind, semitones, sign in _MARK.findall(marks):
        if kind:
            found.append(Technique("bend" if kind == "b" else "pre_bend", semitones=float(semitones)))
        elif sign == "-":
            found.append(Technique("release", semitones=0.0))
        elif sign == "v":
            found.append(Technique("vibrato", rate_hz=5.2, depth_semitones=0.5))
        elif sign == "s":
            found.append(Technique("slide", picked=False))
        else:
            found.append(Technique(_KINDS[sign]))
    return found


def handwritten() -> tuple[Composed, ...]:
    """All hand-written lines."""
    return tuple(parse(written) for written in LINES)
