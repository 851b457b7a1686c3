"""What a draft's line is made of: from a draft to the same draft with key, phrases, shapes and meanings.

Like `drafting` this calls stages; it always starts from a draft, so that a person's corrections are
looked at in the same way as what was heard.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from transcriber.errors import UsageError
from transcriber.records.analysed import ChordSpan, LinePoint

if TYPE_CHECKING:
    from transcriber.draft import Draft, DraftNote
    from transcriber.records.heard import Heard
    from transcriber.records.written import Meter, Written


def check_harmony(chords: str | None, key: str | None) -> None:
    """Refuse chords or a key that cannot be read.

    Raises
    ------
    UsageError
        In one line, with the symbol and what would do.
    """
    from transcriber.analysis import parse_key, parse_progression

    if chords is not None:
        parse_progression(chords)
    if key is not None:
        parse_key(key)


def phrase_spans(heard: Heard, written: Written) -> list[tuple[int, int]]:
    """Part a line into phrases before its places are known.

    Returns
    -------
    list of (int, int)
        First note of each phrase and the note after its last.
    """
    from transcriber.analysis import find_phrases

    points = [
        LinePoint(note.onset_s, note.end_s, place.start, place.length, note.pitch_midi)
        for note, place in zip(heard.notes, written.notes, strict=True)
    ]
    return find_phrases(points, written.meter.beats)


def explained(draft: Draft, chords: str | None = None, key: str | None = None) -> Draft:
    """Say what the line of a draft is made of.

    Parameters
    ----------
    draft : Draft
        Its phrases and chords, and a key given by a person, are taken as they are; a chord that cannot be
        read counts as none.
    chords : str, optional
        Chords one a bar, such as ``"Am | F | C | G"``, laid under the take over and over.
    key : str, optional
        Such as ``"A minor"``.

    Raises
    ------
    UsageError
        If chords or key cannot be read.
    """
    from transcriber.analysis import Given, Scale, analyse_line, lay_chords, parse_key
    from transcriber.draft.assemble_analysis import with_analysis

    points = [_point(note, draft.meter) for note in draft.notes]
    end = max((point.start + point.length for point in points), default=Fraction(0))
    laid = tuple(_readable(draft)) if chords is None else lay_chords(chords, draft.meter.beats, end)
    scale = parse_key(key) if key is not None else None
    if scale is None and draft.key is not None and draft.key.given:
        scale = Scale(draft.key.tonic, draft.key.mode)
    spans = tuple(_note_spans(draft)) if draft.phrases else None
    analysis = analyse_line(points, draft.instrument.fretted, draft.meter, Given(scale, laid, spans))
    return with_analysis(draft, analysis)


def _readable(draft: Draft) -> Iterator[ChordSpan]:
    from transcriber.analysis import parse_chord

    for chord in draft.chords:
        try:
            parse_chord(chord.name)
        except UsageError:
            continue
        yield ChordSpan(chord.name, chord.start(draft.meter), chord.length)


def _point(note: DraftNote, meter: Meter) -> LinePoint:
    return LinePoint(
        onset_s=note.onset_s,
        end_s=note.end_s,
        start=note.start(meter),
        length=note.length,
        pitch_midi=note.pitch_midi,
        bends=tuple(
            each.semitones
            for each in note.techniques
            if each.kind in ("bend", "pre_bend") and each.semitones is not None
        ),
        string=note.string,
        fret=note.fret,
        finger=note.finger,
        slid=note.has("slide"),
    )


def _note_spans(draft: Draft) -> Sequence[tuple[int, int]]:
    """First note and the one after the last of every phrase; a phrase without notes has both the same."""
    spans = []
    for phrase in draft.phrases:
        inside = [at for at, note in enumerate(draft.notes) if phrase.start_s <= note.onset_s < phrase.end_s]
        spans.append((inside[0], inside[-1] + 1) if inside else (0, 0))
    return spans
