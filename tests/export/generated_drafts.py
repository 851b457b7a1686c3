"""Hypothesis strategies for drafts that can be written: every meter, voice, technique and kind of words.

Rhythm is put together from patterns of one beat whose cells sound, are silent or hold the note before, so
that any value and tie may come up that a player could mean.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction as Frac

import export_drafts as lines
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st

from transcriber.draft import Chord, Draft, DraftNote, Key, Phrase
from transcriber.records.technique import TECHNIQUE_KINDS, Technique
from transcriber.records.written import Meter

quick = settings(
    max_examples=30,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.reuse, Phase.generate),
)
"""Without shrinking: a draft that fails is printed as it is, in seconds rather than minutes."""

METERS = ((4, 4), (3, 4), (2, 4), (5, 4), (2, 2), (6, 8), (9, 8), (12, 8), (7, 8))
TUNINGS = (
    lines.STANDARD,
    (64, 59, 55, 50, 45, 38),
    (62, 59, 55, 50, 43, 38),
    (64, 59, 55, 50, 45, 40, 35),
    (43, 38, 33, 28),
)
PATTERNS = ("1", "1/2 1/2", "1/4 1/4 1/4 1/4", "1/3 1/3 1/3", "2/3 1/3", "3/4 1/4", "1/6 1/6 1/6 1/4 1/4")
COMPOUND_PATTERNS = ("3", "1 1 1", "2 1", "1 2", "1/2 1/2 1/2 1/2 1/2 1/2", "3/2 3/2")
MODES = ("major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "locrian")
AWKWARD = (
    '"quoted" & <b>bold</b>',
    "two\nlines\r\nand\ttabs",
    "日本語 – ﬁ 🎸",
    "--> 00:01",
    "a,b;c",
    "'=1+1",
    "\\n{x}%s",
)
tonics = st.sampled_from([letter + sign for letter in "ABCDEFG" for sign in ("", "#", "b")])
words = st.sampled_from(AWKWARD) | st.text(max_size=12)


@st.composite
def technique_lists(draw) -> tuple[Technique, ...]:
    kinds = draw(st.lists(st.sampled_from(TECHNIQUE_KINDS), max_size=3, unique=True))
    return tuple(draw(technique(kind)) for kind in kinds if kind != "grace")


@st.composite
def technique(draw, kind: str) -> Technique:
    """One technique; times are shares of its note, as `export_drafts.build` takes them."""
    parts: dict[str, object] = {}
    if kind in ("bend", "pre_bend", "release"):
        begin = {"pre_bend": 0.0, "bend": 0.1, "release": 0.6}[kind]
        height = 0.0 if kind == "release" else draw(st.sampled_from([0.5, 1.0, 2.0, 3.0]))
        parts = {"semitones": height, "start_s": begin, "end_s": begin + 0.2}
    if kind == "vibrato":
        parts = {"start_s": 0.5, "end_s": 1.0, "rate_hz": 5.5, "depth_semitones": 0.4}
    if kind == "slide":
        parts = {"picked": draw(st.booleans())}
    if kind in ("slide_in", "slide_out"):
        parts = {"direction": draw(st.sampled_from(["up", "down"]))}
    if kind == "trill":
        parts = {"to_fret": draw(st.integers(1, 18))}
    return Technique(kind, optional=draw(st.booleans()), **parts)  # type: ignore[arg-type]


@st.composite
def rhythms(draw, meter: Meter) -> list[tuple[Frac, Frac]]:
    """Starts and lengths of a line, perhaps with a pickup."""
    patterns = COMPOUND_PATTERNS if meter.compound else PATTERNS if meter.unit == 4 else PATTERNS[:2]
    taps = draw(st.integers(1, 9))
    here = Frac(-meter.tap * draw(st.integers(0, 1)))
    events: list[tuple[Frac, Frac]] = []
    for _ in range(taps):
        for cell in draw(st.sampled_from(patterns)).split():
            length = Frac(cell)
            act = draw(st.sampled_from(["note", "note", "note", "rest", "hold"]))
            if act == "note":
                events.append((here, length))
            elif act == "hold" and events and sum(events[-1]) == here:
                events[-1] = (events[-1][0], events[-1][1] + length)
            here += length
    return events or [(Frac(0), Frac(1))]


@st.composite
def written_drafts(draw, one_line: bool = False) -> Draft:
    """A draft of up to nine beats with anything that a draft may hold; `one_line`: no note over another."""
    meter = Meter(*draw(st.sampled_from(METERS)))
    tuning = draw(st.sampled_from(TUNINGS))
    places = st.tuples(st.integers(1, len(tuning)), st.integers(0, 15))
    given = []
    for start, length in draw(rhythms(meter)):
        given.append((start, length, *draw(places), *draw(technique_lists())))
        if draw(st.integers(0, 9)) == 0:
            given.append((start, Frac(0), *draw(places), Technique("grace")))
    draft = lines.build(
        given,
        meter=meter,
        tempo_bpm=float(draw(st.integers(40, 200))),
        tuning=tuning,
        capo=draw(st.integers(0, 4)),
        lead_s=draw(st.sampled_from([0.1, 0.35, 2.0])),
        swing=draw(st.none() | st.sampled_from([1.5, 2.0])) if meter.unit == 4 else None,
    )
    notes = [draw(varied(note)) for note in draft.notes]
    if not one_line and draw(st.booleans()):
        notes = draw(with_second_voice(notes, draft))
    phrases = tuple(
        Phrase(f"p{place}", draw(words), draw(st.none() | words), note.onset_s, note.onset_s + 0.5)
        for place, note in enumerate(draw(st.lists(st.sampled_from(notes), max_size=2)))
    )
    return replace(
        draft,
        notes=tuple(sorted(notes, key=lambda note: (note.onset_s, note.length > 0))),
        key=draw(st.none() | st.builds(Key, tonics, st.sampled_from(MODES))),
        chords=tuple(draw(st.lists(chords(), max_size=2))),
        phrases=phrases,
        source=replace(draft.source, file=draw(words) + ".wav"),
        instrument=replace(draft.instrument, name=draw(words)),
    )


@st.composite
def varied(draw, note: DraftNote) -> DraftNote:
    """A note with a remark, without a place, or a dead one without a pitch, now and then."""
    note = replace(note, remark=draw(st.none() | words), velocity=draw(st.integers(1, 127)))
    turn = draw(st.integers(0, 15))
    if turn == 0:
        return replace(note, string=None, fret=None)
    if turn == 1:
        kept = tuple(one for one in note.techniques if one.kind == "grace")
        return replace(note, pitch_midi=None, techniques=(*kept, Technique("dead_note")))
    return replace(note, finger=draw(st.none() | st.integers(0, 4)))


@st.composite
def with_second_voice(draw, notes: list[DraftNote], draft: Draft) -> list[DraftNote]:
    """Double stops, and a string that rings on under the line."""
    under = []
    for note in draw(st.lists(st.sampled_from(notes), max_size=3, unique_by=lambda note: note.id)):
        if note.is_grace or note.string is None:
            continue
        other = note.string % len(draft.instrument.tuning_midi) + 1
        rings = draw(st.booleans())
        under.append(
            replace(
                note,
                id=f"{note.id}under",
                string=other,
                fret=3,
                pitch_midi=draft.instrument.fretted.open_midi(other) + 3,
                finger=None,
                voice=2 if rings else note.voice,
                length=note.length * 2 if rings else note.length,
                techniques=(Technique("let_ring"),) if rings else (),
                remark=None,
            )
        )
    return [*notes, *under]


@st.composite
def chords(draw) -> Chord:
    name = draw(st.sampled_from(["Am7", "F#m7b5", "C/G", "E7#9", "N.C.", "Bbmaj7", "?? odd <&>", "G"]))
    beat = draw(st.sampled_from([Frac(1), Frac(2), Frac(3, 2)]))
    return Chord(name, draw(st.integers(1, 2)), beat, Frac(1))
