"""What a line is made of, put into its draft."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from transcriber.draft.document import Draft
from transcriber.draft.line_parts import Chord, Key, Phrase, Shape
from transcriber.records.analysed import Analysis, PhraseFound, ShapeSpan
from transcriber.records.written import WrittenNote

UNNAMED = "Phrase {}"
"""Name of a phrase that nobody has named, by its number."""


def with_analysis(draft: Draft, analysis: Analysis) -> Draft:
    """Put an analysis into the draft whose notes it was made of.

    Parameters
    ----------
    draft : Draft
        Its phrases are those of the analysis, in order, if it has any. Chords that it has are kept.
    analysis : Analysis

    Returns
    -------
    Draft
        Phrases keep id, name, remark and other fingerings; one without a name is named by its number.
    """
    key = analysis.key
    phrases = draft.phrases or tuple(
        _bare_phrase(draft, at, each) for at, each in enumerate(analysis.phrases)
    )
    return replace(
        draft,
        key=Key(key.tonic, key.mode, key.relative, key.outside, key.confidence, key.given),
        chords=draft.chords
        or tuple(_chord(draft, each.name, each.start, each.length) for each in analysis.chords),
        phrases=tuple(_phrase(draft, phrases, at, analysis) for at in range(len(phrases))),
        shapes=tuple(_shape(draft, each) for each in analysis.shapes),
        notes=tuple(
            replace(note, meaning=meaning)
            for note, meaning in zip(draft.notes, analysis.meanings, strict=True)
        ),
    )


def _bare_phrase(draft: Draft, at: int, found: PhraseFound) -> Phrase:
    within = draft.notes[found.first : found.stop]
    return Phrase(f"p{at + 1}", "", None, within[0].onset_s, max(note.end_s for note in within))


def _phrase(draft: Draft, phrases: tuple[Phrase, ...], at: int, analysis: Analysis) -> Phrase:
    phrase, found = phrases[at], analysis.phrases[at]
    bars = [note.bar for note in draft.notes[found.first : found.stop]]
    return replace(
        phrase,
        name=phrase.name or UNNAMED.format(at + 1),
        bars=(min(bars), max(bars)) if bars else (),
        like=None if found.like is None else phrases[found.like].id,
        like_words=found.like_words,
        hard=analysis.hard_parts[at] if bars else None,
    )


def _chord(draft: Draft, name: str, start: Fraction, length: Fraction) -> Chord:
    written = WrittenNote(start, length, 1.0)
    return Chord(name, written.bar(draft.meter), written.beat(draft.meter), written.length)


def _shape(draft: Draft, span: ShapeSpan) -> Shape:
    within = draft.notes[span.first : span.stop]
    frets = [fret for _, fret in span.places]
    return Shape(
        name=span.name,
        start_s=within[0].onset_s,
        end_s=max(note.end_s for note in within),
        lowest_fret=min(frets, default=0),
        highest_fret=max(frets, default=0),
        kind=span.kind,
        also=span.also,
        position=span.position,
        places=tuple(f"{string}/{fret}" for string, fret in span.places),
        notes=tuple(draft.notes[index].id for index in span.explained),
        unexplained=tuple(draft.notes[index].id for index in span.unexplained),
    )
