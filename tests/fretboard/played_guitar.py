"""A recording of labelled notes, played by the synthesiser on strings off by known cents."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np

from transcriber.fretboard import read_instrument
from transcriber.records.line import Line, LineNote
from transcriber.records.written import Meter
from transcriber.synthesis import STYLES, TONES, perform, render_performance

RATE_HZ = 44100


def play_labelled(
    places: Sequence[tuple[int, int]],
    cents: Mapping[int, float],
    tone: str = "clean",
    octave_cents: Mapping[int, float] | None = None,
) -> np.ndarray:
    """Sound of (string, fret) places one after the other, 1.5 s each every 2 s.

    `cents` moves whole strings, `octave_cents` their 12th fret besides.
    """
    notes = tuple(
        LineNote(Fraction(2 * i), Fraction(3, 2), string, fret) for i, (string, fret) in enumerate(places)
    )
    line = Line("labelled notes", read_instrument("standard"), Meter(4, 4), 60.0, notes)
    performance = perform(line, STYLES["exact"], 1)
    moved = []
    for note in performance.notes:
        off = cents.get(note.string, 0.0)
        if note.fret == 12 and octave_cents:
            off += octave_cents.get(note.string, 0.0)
        moved.append(replace(note, curve_semitones=note.curve_semitones + off / 100.0))
    return render_performance(replace(performance, notes=tuple(moved)), TONES[tone], 1)
