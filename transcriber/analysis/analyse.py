"""From a line to what it is made of."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from transcriber.analysis.figures import find_half_steps, find_triads
from transcriber.analysis.hard_parts import hard_parts
from transcriber.analysis.key import described_key, find_key
from transcriber.analysis.meaning import note_meanings, sounding_chords
from transcriber.analysis.phrases import find_phrases, linked_phrases
from transcriber.analysis.scales import Scale
from transcriber.analysis.shapes import find_shapes
from transcriber.records.analysed import Analysis, ChordSpan, LinePoint
from transcriber.records.placed import Instrument
from transcriber.records.written import Meter


@dataclass(frozen=True)
class Given:
    """What a person told; None where it is to be found out.

    Attributes
    ----------
    key : Scale or None
    chords : tuple of ChordSpan
    phrases : tuple of (int, int), or None
        First note of each phrase and the one after its last.
    """

    key: Scale | None = None
    chords: tuple[ChordSpan, ...] = ()
    phrases: tuple[tuple[int, int], ...] | None = None


def analyse_line(
    points: Sequence[LinePoint], instrument: Instrument, meter: Meter, given: Given | None = None
) -> Analysis:
    """Say what a line is made of.

    Parameters
    ----------
    points : sequence of LinePoint
        In order of onset, with their places.
    instrument : Instrument
    meter : Meter
    given : Given, optional

    Returns
    -------
    Analysis
    """
    given = given or Given()
    spans = list(given.phrases) if given.phrases is not None else find_phrases(points, meter.beats)
    if given.key is None:
        key = find_key(points, spans, given.chords)
    else:
        key = described_key(given.key, points, 1.0, given=True)
    scale = Scale(key.tonic, key.mode)
    sounding = sounding_chords(points, given.chords)
    shapes = [
        *find_shapes(points, spans, scale, instrument),
        *find_triads(points, scale, sounding),
        *find_half_steps(points, scale),
    ]
    return Analysis(
        key=key,
        chords=given.chords,
        meanings=note_meanings(points, scale, sounding, meter.tap),
        phrases=linked_phrases(points, spans, meter.beats),
        hard_parts=tuple(hard_parts(points[first:stop]) for first, stop in spans),
        shapes=tuple(sorted(shapes, key=lambda span: span.first)),
    )
