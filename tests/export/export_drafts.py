"""Drafts built in code for the exporters' tests: our own short lines, scenario "the ferry landing"."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction as Frac

from transcriber.draft import (
    FORMAT_VERSION,
    Chord,
    Confidence,
    Contour,
    Draft,
    DraftInstrument,
    DraftNote,
    Issue,
    Key,
    MadeBy,
    Phrase,
    Source,
    Timing,
)
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

STANDARD = (64, 59, 55, 50, 45, 40)
SURE = Confidence(0.98, 0.97, 0.95, 0.96, 0.97, 0.84)
COMMON_TIME = Meter(4, 4)
STEP_S = 0.01


def contour_of(onset_s: float, end_s: float, techniques: tuple[Technique, ...]) -> Contour:
    """Closed-form contour: bends rise linearly between their times, vibrato is a raised sine."""
    count = max(2, int((end_s - onset_s) / STEP_S))
    times = [round(onset_s + step * STEP_S, 4) for step in range(count)]
    return Contour(tuple(times), tuple(round(100 * height(techniques, time), 2) for time in times))


def height(techniques: tuple[Technique, ...], time_s: float) -> float:
    """Semitones above the fret at a time."""
    level = 0.0
    wobble = 0.0
    for one in techniques:
        if one.kind == "pre_bend":
            level = one.semitones or 0.0
        elif one.kind in ("bend", "release") and one.start_s is not None and one.end_s is not None:
            share = min(max((time_s - one.start_s) / (one.end_s - one.start_s), 0.0), 1.0)
            level += share * ((one.semitones or 0.0) - level)
        elif one.kind == "vibrato" and one.start_s is not None and time_s > one.start_s:
            phase = 2 * math.pi * (one.rate_hz or 5.0) * (time_s - one.start_s)
            wobble = (one.depth_semitones or 0.5) * (1 - math.cos(phase)) / 2
    return level + wobble


def tech(kind: str, **fields: object) -> Technique:
    """Name a technique whose times are given as shares of the note: `at` is (begin, end)."""
    return Technique(kind, **fields)  # type: ignore[arg-type]


def build(
    notes: list[tuple],
    meter: Meter = COMMON_TIME,
    tempo_bpm: float = 90.0,
    tuning: tuple[int, ...] = STANDARD,
    capo: int = 0,
    file: str = "ferry_landing.wav",
    lead_s: float = 0.5,
    swing: float | None = None,
) -> Draft:
    """Make a draft from (start, length, string, fret, *techniques), played exactly to the beats.

    Times of techniques are given as shares of the note, 0 to 1, in their `start_s` and `end_s`.
    """
    beat_s = 60.0 / tempo_bpm / meter.tap
    first = min([0, *(math.floor(Frac(note[0])) for note in notes)])
    last = max([1, *(math.ceil(Frac(note[0]) + Frac(note[1])) for note in notes)])
    beats = tuple(round(lead_s + beat_s * step, 6) for step in range(last - first + 1))
    timing = Timing(tempo_bpm, meter, swing, beats, first)
    made = [_note(place, note, timing, tuning, capo) for place, note in enumerate(notes)]
    return Draft(
        FORMAT_VERSION,
        MadeBy("0.1.0", {}, "0" * 64),
        Source(file, "0" * 64, 44100, round(beats[-1] + 1.0, 3)),
        DraftInstrument("six-string guitar", tuning, capo, 22, 440.0),
        timing,
        None,
        (),
        (),
        (),
        tuple(sorted(made, key=lambda note: (note.onset_s, note.length > 0))),
        (),
    )


def _note(place: int, given: tuple, timing: Timing, tuning: tuple[int, ...], capo: int) -> DraftNote:
    start, length, string, fret, *techniques = given
    start, length = Frac(start), Frac(length)
    meter = timing.meter
    onset = timing.time_of(start) - (0.06 if length == 0 else 0.0)
    end = onset + 0.055 if length == 0 else timing.time_of(start + length)
    timed = tuple(_timed(one, onset, end) for one in techniques)
    pitch = tuning[string - 1] + capo + fret
    return DraftNote(
        id=f"n{place + 1:03d}",
        onset_s=round(onset, 6),
        end_s=round(end, 6),
        pitch_midi=pitch,
        string=string,
        fret=fret,
        finger=None,
        bar=int(start // meter.beats) + 1,
        beat=start % meter.beats + 1,
        length=length,
        voice=1,
        velocity=90,
        techniques=timed,
        contour=contour_of(onset, end, timed),
        remark=None,
        confidence=SURE,
        alternatives=(),
    )


def _timed(one: Technique, onset: float, end: float) -> Technique:
    def at(share: float | None) -> float | None:
        return None if share is None else round(onset + share * (end - onset), 6)

    return replace(one, start_s=at(one.start_s), end_s=at(one.end_s))


def doubt(draft: Draft, note_id: str, message: str, **confidence: float) -> Draft:
    """Make a note of a draft uncertain, with an issue that says why."""
    note = draft.note(note_id)
    assert note is not None
    unsure = replace(note, confidence=replace(note.confidence, **confidence))
    issues = (
        Issue("check_note", "Listen again.", note.onset_s, note.end_s, (note_id,)),
        Issue("pitch_moves", message, note.onset_s, note.end_s, (note_id,)),
    )
    notes = tuple(unsure if one.id == note_id else one for one in draft.notes)
    return replace(draft, notes=notes, issues=(*draft.issues, *issues))


def straight_line() -> Draft:
    """Eighths, quarters, a tie over the bar line and rests in A minor pentatonic."""
    lengths = ["1/2", "1/2", "1/2", "1/2", "1", "1", "1/2", "1", "1/2", "2/1", "1/2", "1/2", "1"]
    places = [
        (3, 5),
        (3, 7),
        (2, 5),
        (2, 8),
        (1, 5),
        (2, 8),
        (2, 5),
        (3, 7),
        (3, 5),
        (4, 7),
        (4, 5),
        (4, 7),
        (3, 5),
    ]
    notes, start = [], Frac(0)
    for length, (string, fret) in zip(lengths, places, strict=True):
        if start == 9:
            start += Frac(1, 2)
        notes.append((start, length, string, fret))
        start += Frac(length)
    draft = build(notes)
    draft = doubt(
        draft,
        "n008",
        "the note sounds a fourth lower in its second half: written is its first half",
        pitch=0.4,
    )
    chords = (
        Chord("Am7", 1, Frac(1), Frac(4)),
        Chord("D9", 2, Frac(1), Frac(2)),
        Chord("E7#9", 2, Frac(3), Frac(2)),
    )
    return replace(draft, key=Key("A", "minor"), chords=chords)


def techniques_line() -> Draft:
    """Every sign of the tab at least once, sixteenth triplets giving way to plain sixteenths."""
    sixth, third = Frac(1, 6), Frac(1, 3)
    full = tech("bend", start_s=0.1, end_s=0.3, semitones=2.0)
    quarter = tech("bend", start_s=0.2, end_s=0.4, semitones=0.5)
    wide = tech("bend", start_s=0.1, end_s=0.2, semitones=3.0)
    late = tech("release", start_s=0.6, end_s=0.9, semitones=0.0)
    early = tech("release", start_s=0.3, end_s=0.55, semitones=0.0)
    shake = tech("vibrato", start_s=0.5, rate_hz=5.5, depth_semitones=0.5)
    slid, slid_picked = tech("slide", picked=False), tech("slide", picked=True)
    notes = [
        (0, "1", 2, 8, full, shake),
        (1, sixth, 2, 8),
        (1 + sixth, sixth, 2, 5, tech("pull_off")),
        (1 + 2 * sixth, sixth, 3, 7),
        ("3/2", "1/4", 3, 5, tech("palm_mute")),
        ("7/4", "1/4", 3, 7, tech("palm_mute"), tech("hammer_on")),
        (2, third, 3, 7, slid),
        (2 + third, third, 3, 9, slid),
        (2 + 2 * third, third, 3, 7, slid_picked),
        (3, 0, 2, 7),
        (3, "1", 2, 8, tech("hammer_on"), late, quarter),
        (4, "1/2", 2, 8, tech("pre_bend", semitones=2.0), early),
        ("9/2", "1/4", 5, 3, tech("dead_note")),
        ("19/4", "1/4", 5, 3, tech("dead_note")),
        (5, "1", 3, 12, tech("natural_harmonic"), tech("let_ring")),
        (6, "1/2", 1, 12, tech("slide_in", direction="up"), tech("let_ring")),
        ("13/2", "3/2", 1, 15, wide, early, tech("slide_out", start_s=0.9, direction="down")),
        (8, "1", 4, 5, tech("trill", to_fret=7)),
        (9, "1/2", 4, 7, tech("staccato")),
        ("19/2", "5/2", 4, 10, shake),
    ]
    draft = build(notes, tempo_bpm=76.0, file="ferry_landing_2.wav")
    return replace(
        draft, phrases=(Phrase("p1", "Call", "lay back", 0.5, 3.6), Phrase("p2", "Answer", None, 3.6, 8.0))
    )


def pickup_line() -> Draft:
    """A pickup of three eighths in 3/4, with a dotted rhythm and an eighth triplet."""
    third = Frac(1, 3)
    notes = [
        ("-3/2", "1/2", 3, 2),
        (-1, "1/2", 3, 4),
        ("-1/2", "1/2", 2, 2),
        (0, "3/2", 2, 3),
        ("3/2", "1/2", 1, 0),
        (2, "1", 1, 2),
        (3, third, 1, 3),
        (3 + third, third, 1, 2),
        (3 + 2 * third, third, 1, 0),
        (4, "3", 2, 3),
        (8, "1", 3, 2),
    ]
    return build(notes, meter=Meter(3, 4), tempo_bpm=112.0, file="slow_tide.flac")


def low_line() -> Draft:
    """Drop D, capo on fret 2, sixteenths on the low strings with two-digit frets."""
    places = [
        (6, 0),
        (6, 0),
        (6, 3),
        (6, 5),
        (5, 3),
        (5, 5),
        (6, 0),
        (6, 12),
        (6, 10),
        (6, 0),
        (5, 10),
        (5, 12),
    ]
    notes = [(Frac(step, 4), "1/4", *place) for step, place in enumerate(places)]
    notes += [
        (Frac(3), "1/3", 4, 12),
        (Frac(10, 3), "1/3", 4, 10),
        (Frac(11, 3), "1/3", 5, 12),
        (Frac(4), "4", 6, 0),
    ]
    return build(notes, tuning=(64, 59, 55, 50, 45, 38), capo=2, tempo_bpm=120.0, file="engine_room.wav")


DRAFTS = {
    "straight_line": straight_line,
    "techniques": techniques_line,
    "pickup": pickup_line,
    "low_line": low_line,
}
