"""Drafts for the tests: one written by hand that uses every part of the document, and generated ones."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from hypothesis import strategies as st

from transcriber.draft import (
    CONFIDENCE_ASPECTS,
    Alternative,
    Chord,
    Contour,
    Draft,
    DraftInstrument,
    DraftNote,
    Issue,
    Key,
    MadeBy,
    NotePlace,
    Phrase,
    PhraseAlternative,
    Shape,
    Source,
    Timing,
)
from transcriber.draft.assemble import with_overall
from transcriber.records.analysed import BendCount, HardParts, NoteMeaning
from transcriber.records.technique import TECHNIQUE_KINDS, Technique
from transcriber.records.written import Meter

# Strings 1 to 6: E4 B3 G3 D3 A2 E2 (common practice, 12-tone equal temperament).
STANDARD = (64, 59, 55, 50, 45, 40)


def confidence(**aspects: float):
    return with_overall({**dict.fromkeys(CONFIDENCE_ASPECTS, 0.9), **aspects})


def sample_note(number: int, onset: float, string: int, fret: int, start: Fraction, **changes) -> DraftNote:
    bar, beat = int(start // 4) + 1, start % 4 + 1
    note = DraftNote(
        id=f"n{number:03d}",
        onset_s=onset,
        end_s=round(onset + 0.4, 4),
        pitch_midi=STANDARD[string - 1] + fret,
        string=string,
        fret=fret,
        finger=None,
        bar=bar,
        beat=beat,
        length=Fraction(1),
        voice=1,
        velocity=90,
        techniques=(),
        contour=Contour((onset, round(onset + 0.0116, 4)), (0.0, None)),
        remark=None,
        confidence=confidence(),
        alternatives=(),
        meaning=NoteMeaning("A", "b3", True, "F#m7", "b3", "chord_tone") if number == 1 else None,
    )
    return replace(note, **changes)


def sample_alternative(notes: tuple[DraftNote, ...]) -> PhraseAlternative:
    """The same notes a string lower and four frets up."""
    return PhraseAlternative(
        position=9,
        strings=(3,),
        shifts=0,
        extra_cost=0.75,
        toss_up=True,
        words="the same line at frets 9 to 12 on string 3, as easy to play",
        notes=tuple(NotePlace(note.id, 3, note.pitch_midi - STANDARD[2]) for note in notes),
    )


def sample_draft() -> Draft:
    """A pickup and three notes: a grace, a bend with release, a note below the instrument."""
    notes = (
        sample_note(1, 0.5, 2, 5, Fraction(-1), length=Fraction(1, 2), alternatives=(Alternative(3, 9),)),
        sample_note(2, 0.98, 2, 7, Fraction(0), length=Fraction(0), techniques=(Technique("grace"),)),
        sample_note(
            3,
            1.0,
            2,
            8,
            Fraction(0),
            end_s=1.9,
            finger=3,
            length=Fraction(4, 3),
            techniques=(
                Technique("bend", start_s=1.1, end_s=1.3, semitones=2.0),
                Technique("release", start_s=1.5, end_s=1.7, semitones=0.0),
                Technique("vibrato", start_s=1.7, end_s=1.9, rate_hz=5.6, depth_semitones=0.4, optional=True),
            ),
            contour=Contour((1.0, 1.0116, 1.0232), (-1.5, None, 198.5)),
            remark="Lean on the top: “hold it”, don’t rush \\ 休み.",
        ),
        replace(
            sample_note(4, 2.0, 6, 0, Fraction(2), pitch_midi=38, confidence=confidence(place=0.0)),
            string=None,
            fret=None,
        ),
    )
    return Draft(
        format_version=1,
        made_by=MadeBy("0.1.0", {"meter": "4/4", "tempo": 120.0, "strings": (1, 2, None)}, "a" * 64),
        source=Source("harbour_take.wav", "b" * 64, 44100, 3.0),
        instrument=DraftInstrument("standard", STANDARD, 0, 22, 441.2),
        timing=Timing(120.0, Meter(4, 4), None, (0.5, 1.0, 1.5, 2.0, 2.5), -1, 0.91),
        key=Key("F#", "minor", "A major", ("C",), 0.91, False),
        chords=(Chord("F#m7", 1, Fraction(1), Fraction(4)),),
        phrases=(
            Phrase(
                "p1",
                "Opening",
                "Quiet.",
                0.5,
                1.95,
                (sample_alternative(notes[:3]),),
                (1, 1),
                None,
                "as phrase 1",
                HardParts(4.25, 3, 4, (BendCount(2.0, 1),), 0.5),
            ),
        ),
        shapes=(
            Shape(
                "F# minor pentatonic, box 1",
                0.5,
                2.5,
                5,
                9,
                "pentatonic_box",
                ("A major pentatonic",),
                7,
                ("1/7", "6/5"),
                ("n001",),
                ("n002",),
            ),
        ),
        notes=notes,
        issues=(
            Issue("clipping", "The take clips.", None, None, ()),
            Issue("check_note", "Listen again.", 2.0, 2.4, ("n004",)),
        ),
    )


seconds = st.integers(0, 6_000_000).map(lambda value: value / 10_000)
shares = st.integers(0, 1000).map(lambda value: value / 1000)
# All of Unicode but half surrogates, which no file can hold.
texts = st.text(max_size=20)
cents = st.none() | st.integers(-9000, 9000).map(lambda value: value / 10)
lengths = st.fractions(Fraction(1, 24), 8, max_denominator=24)


@st.composite
def techniques(draw, onset: float, end: float) -> Technique:
    kind = draw(st.sampled_from([kind for kind in TECHNIQUE_KINDS if kind != "grace"]))
    needed = {
        "bend": ("semitones",),
        "pre_bend": ("semitones",),
        "release": ("semitones",),
        "vibrato": ("rate_hz", "depth_semitones"),
        "slide": ("picked",),
        "slide_in": ("direction",),
        "slide_out": ("direction",),
        "trill": ("to_fret",),
    }.get(kind, ())
    choices = {
        "semitones": st.sampled_from([0.0, 0.5, 1.0, 2.0, 3.25]),
        "rate_hz": st.sampled_from([4.5, 6.0]),
        "depth_semitones": st.sampled_from([0.3, 1.42]),
        "direction": st.sampled_from(["up", "down"]),
        "picked": st.booleans(),
        "to_fret": st.integers(0, 20),
    }
    parts = {name: draw(choices[name]) for name in needed}
    return Technique(kind, start_s=onset, end_s=end, optional=draw(st.booleans()), **parts)


@st.composite
def notes(draw, number: int, onset: float, meter: Meter) -> DraftNote:
    string = draw(st.integers(1, 6))
    fret = draw(st.integers(0, 20))
    off_neck = draw(st.booleans())
    end = round(onset + draw(st.integers(10, 9000)) / 10_000, 4)
    grace = draw(st.booleans())
    count = draw(st.integers(0, 6))
    return DraftNote(
        id=f"n{number:03d}",
        onset_s=onset,
        end_s=end,
        pitch_midi=STANDARD[string - 1] + fret,
        string=None if off_neck else string,
        fret=None if off_neck else fret,
        finger=None if off_neck else draw(st.none() | st.integers(0, 4)),
        bar=draw(st.integers(0, 200)),
        beat=draw(st.fractions(1, meter.beats + Fraction(47, 48), max_denominator=48)),
        length=Fraction(0) if grace else draw(lengths),
        voice=draw(st.integers(1, 2)),
        velocity=draw(st.integers(1, 127)),
        techniques=((Technique("grace"),) if grace else ())
        + tuple(draw(st.lists(techniques(onset, end), max_size=3))),
        contour=Contour(
            tuple(round(onset + 0.0116 * step, 4) for step in range(count)),
            tuple(draw(st.lists(cents, min_size=count, max_size=count))),
        ),
        remark=draw(st.none() | texts),
        confidence=with_overall({name: draw(shares) for name in CONFIDENCE_ASPECTS}),
        alternatives=()
        if off_neck
        else tuple(draw(st.lists(st.builds(Alternative, st.integers(1, 6), st.integers(0, 20)), max_size=2))),
    )


@st.composite
def drafts(draw) -> Draft:
    meter = draw(st.sampled_from([Meter(4, 4), Meter(3, 4), Meter(6, 8), Meter(7, 8), Meter(2, 2)]))
    onsets = sorted(draw(st.lists(seconds, max_size=4)))
    drawn = tuple(draw(notes(index + 1, onset, meter)) for index, onset in enumerate(onsets))
    beats = sorted(draw(st.sets(seconds, min_size=1, max_size=6)))
    scalars = st.none() | st.booleans() | st.integers(-999, 999) | st.floats(-1e9, 1e9) | texts
    names = st.from_regex(r"[a-z][a-z0-9_]{0,8}", fullmatch=True)
    options = draw(st.dictionaries(names, scalars | st.lists(scalars, max_size=3).map(tuple), max_size=3))
    start = draw(seconds)
    return Draft(
        format_version=1,
        made_by=MadeBy(draw(texts), options, "0" * 64),
        source=Source("take.wav", "f" * 64, draw(st.sampled_from([8000, 44100, 96000])), 700.0),
        instrument=DraftInstrument(draw(texts), STANDARD, 0, 22, 440.0),
        timing=Timing(
            draw(st.integers(30, 300)) * 1.0,
            meter,
            draw(st.none() | st.sampled_from([1.5, 2.0])),
            tuple(beats),
            draw(st.integers(-4, 0)),
            draw(st.none() | st.floats(0, 1)),
        ),
        key=draw(
            st.none()
            | st.builds(Key, st.sampled_from(["A", "Bb", "F#"]), st.sampled_from(["major", "minor"]))
        ),
        chords=tuple(
            draw(
                st.lists(
                    st.builds(Chord, st.just("Am7"), st.integers(0, 9), st.just(Fraction(3, 2)), lengths),
                    max_size=2,
                )
            )
        ),
        phrases=(Phrase("p1", draw(texts), draw(st.none() | texts), start, start + 1.0),),
        shapes=(Shape(draw(texts), start, start + 0.5, 3, 7),),
        notes=drawn,
        issues=tuple(
            Issue("check_note", draw(texts), note.onset_s, note.end_s, (note.id,)) for note in drawn
        ),
    )
