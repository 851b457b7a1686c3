"""What is no mistake must not be called one: each promise of fairness by itself, from sound to answer."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest

from tests.accuracy.handwritten import handwritten
from tests.accuracy.note_bank import SAMPLE_RATE_HZ
from tests.accuracy.playing import play
from tests.accuracy.splice import splice
from tests.notation.bench_audio import take_of
from tests.practice.attempts import reference
from tests.practice.surroundings import SURROUNDINGS, surrounded
from transcriber.attempts import EARS
from transcriber.draft import Phrase
from transcriber.listening import hear_clicks, listen
from transcriber.practice import TOLERANCES, Attempt, check_attempt
from transcriber.practice.tolerance import SOURCE
from transcriber.practice.words import check_document, check_text

LINE = handwritten()[8].line
BEAT_S = 60 / LINE.tempo_bpm
LEAD_S = 4 * BEAT_S
GUITAR = "green"


@functools.cache
def draft():
    """The line as a flawless draft, a phrase for each bar."""
    known = reference(LINE, 1)
    starts = [min(note.onset_s for note in known.notes if note.bar == bar) for bar in (1, 2, 3)]
    ends = [*starts[1:], known.source.duration_s]
    phrases = tuple(
        Phrase(f"p{n + 1}", "", None, start, end)
        for n, (start, end) in enumerate(zip(starts, ends, strict=True))
    )
    return replace(known, phrases=phrases)


def heard(sound):
    """A sound as listening has it."""
    take = take_of(sound)
    found = hear_clicks(take, listen(take, LINE.instrument))
    return Attempt(found, take.samples, take.sample_rate_hz, take.start_s)


def answer(sound, ear="intermediate", known=None):
    return check_attempt(known or draft(), heard(sound), TOLERANCES[ear])


def played(line=LINE, seed=5):
    return splice(play(line, seed), GUITAR)


def wrong(report):
    """Everything that was called a wrong or a missing note, or one too many."""
    return [note for note in report.notes if note.verdict != "played"] + list(report.extra)


def remarks(report):
    return {remark for note in report.notes for remark in note.remarks}


@functools.cache
def as_drafted():
    return heard(played())


@pytest.mark.parametrize(("semitones", "words"), [(12, "1 octave higher"), (3, "3 semitones higher")])
def test_an_attempt_in_another_octave_or_key_is_judged_there_and_told(semitones, words):
    higher = tuple(replace(note, fret=note.fret + semitones) for note in LINE.notes)
    report = answer(played(replace(LINE, notes=higher)))
    assert report.transposed == semitones
    assert wrong(report) == []
    assert f"Played {words} than the take; judged there." in check_text(draft(), report, [])


def elsewhere(note, following):
    """The same pitch a string lower, where the neck has it and no gesture ties the note to its string."""
    steps = 4 if note.string == 2 else 5
    free = not note.techniques and not following.techniques and note.string < 6
    return replace(note, string=note.string + 1, fret=note.fret + steps) if free else note


def test_another_fingering_is_no_mistake():
    notes = tuple(elsewhere(*pair) for pair in zip(LINE.notes, [*LINE.notes[1:], LINE.notes[0]], strict=True))
    assert sum(note not in LINE.notes for note in notes) >= 5
    report = answer(played(replace(LINE, notes=notes)))
    assert wrong(report) == []
    usual = check_attempt(draft(), as_drafted(), TOLERANCES["intermediate"])
    for note, other in zip(report.notes, usual.notes, strict=True):
        assert set(note.remarks) - {"ringing"} == set(other.remarks) - {"ringing"}


@pytest.mark.parametrize("kind", SURROUNDINGS)
def test_what_else_sounds_is_no_wrong_note(kind):
    sound = np.concatenate([np.zeros(round(LEAD_S * SAMPLE_RATE_HZ)), played()])
    first_s = LEAD_S + play(LINE, 5).notes[0].onset_s
    assert wrong(answer(surrounded(sound, first_s, kind, BEAT_S, 3))) == []


def test_what_the_take_itself_plays_late_may_be_played_late():
    """The draft's own recording puts one note 90 ms behind its written place, and so does the attempt."""
    performance = play(LINE, 5)
    number = next(n for n in range(5, 15) if not {*LINE.notes[n].techniques, *LINE.notes[n + 1].techniques})
    notes = list(performance.notes)
    late = notes[number]
    notes[number] = replace(late, onset_s=late.onset_s + 0.09, curve_times_s=late.curve_times_s + 0.09)
    attempt = heard(splice(replace(performance, notes=tuple(notes)), GUITAR))
    known = list(draft().notes)
    known[number] = replace(known[number], onset_s=round(known[number].onset_s + 0.09, 4))
    ear = TOLERANCES["strict"]
    assert "late" in check_attempt(draft(), attempt, ear).notes[number].remarks
    taken = replace(draft(), notes=tuple(known))
    assert "late" not in check_attempt(taken, attempt, ear).notes[number].remarks


def test_half_speed_is_judged_by_the_rhythm_within():
    report = answer(played(replace(LINE, tempo_bpm=0.5 * LINE.tempo_bpm)))
    assert report.tempo_ratio == pytest.approx(0.5, abs=0.01)
    assert wrong(report) == []
    assert not remarks(report) & {"early", "late", "short", "long", "bend_slow"}


def test_a_skipped_bar_is_told_as_left_out_and_makes_nothing_late():
    """Bar 2 (the second phrase) is not played, and what follows goes on at once."""
    gone = [note for note in LINE.notes if 4 <= note.start < 8]
    kept = tuple(
        replace(note, start=note.start - (4 if note.start >= 8 else 0), techniques=())
        for note in LINE.notes
        if note not in gone
    )
    bare = replace(draft(), notes=tuple(replace(note, techniques=()) for note in draft().notes))
    report = answer(played(replace(LINE, notes=kept)), known=bare)
    assert sum(note.verdict == "missed" for note in report.notes) == len(gone)
    assert [phrase.verdict for phrase in report.phrases].count("left out") == 1
    assert not remarks(report) & {"early", "late"}
    assert report.stops == ()


def test_each_ear_states_its_bounds_and_their_source():
    bounds = []
    for ear in EARS:
        report = check_attempt(draft(), as_drafted(), TOLERANCES[ear])
        stated = check_document(report, ("a.wav", "1"), ("line.wav", "2"), [])["tolerance"]
        assert stated["source"] == SOURCE
        bounds.append((stated["timing_ms"], stated["cents"]))
    assert bounds == [(80.0, 50.0), (50.0, 35.0), (30.0, 25.0)]
    assert set(EARS) == set(TOLERANCES)


def test_a_beginners_ear_lets_pass_what_a_strict_one_does_not():
    """One note 60 ms late: within 80 ms, beyond 50 and 30."""
    performance = play(LINE, 5)
    number = next(
        n
        for n in range(4, len(LINE.notes) - 1)
        if not LINE.notes[n].techniques
        and not LINE.notes[n + 1].techniques
        and performance.notes[n].end_s - performance.notes[n].onset_s > 0.25
    )
    notes = list(performance.notes)
    late = notes[number]
    notes[number] = replace(late, onset_s=late.onset_s + 0.065, curve_times_s=late.curve_times_s + 0.065)
    sound = splice(replace(performance, notes=tuple(notes)), GUITAR)
    attempt = heard(sound)
    said = {ear: check_attempt(draft(), attempt, TOLERANCES[ear]).notes[number].remarks for ear in EARS}
    assert said["beginner"] == ()
    assert "late" in said["strict"]


def struck_twice():
    """The line with one long plain note struck again half-way; the line as played, and when."""
    number = next(
        n
        for n in range(3, len(LINE.notes) - 1)
        if LINE.notes[n].length >= 1 and not {*LINE.notes[n].techniques, *LINE.notes[n + 1].techniques}
    )
    note = LINE.notes[number]
    half = replace(note, length=note.length / 2)
    again = replace(half, start=note.start + note.length / 2)
    return replace(LINE, notes=(*LINE.notes[:number], half, again, *LINE.notes[number + 1 :])), number


@pytest.mark.parametrize("kind", ["", "metronome"])
def test_a_note_struck_twice_is_one_too_many_and_a_click_over_it_is_not(kind):
    """Clicks fall on every half beat, so one is where a long note might have been struck again."""
    line, number = struck_twice()
    slow = [replace(each, tempo_bpm=0.6 * LINE.tempo_bpm) for each in (LINE, line)]
    found = []
    for each in slow:
        sound = np.concatenate([np.zeros(round(LEAD_S * SAMPLE_RATE_HZ)), played(each)])
        first_s = LEAD_S + play(each, 5).notes[0].onset_s
        found.append(answer(surrounded(sound, first_s, kind, 0.5 * BEAT_S / 0.6, 3)))
    assert wrong(found[0]) == []
    assert [extra.pitch_midi for extra in found[1].extra] == [draft().notes[number].pitch_midi]
    assert found[1].extra[0].after == draft().notes[number].id


def test_a_note_that_listening_left_out_is_found_in_the_sound():
    """Every plain note in turn is taken out of what was heard; the sound itself says that it was played."""
    full = as_drafted()
    for number in range(len(LINE.notes)):
        if {*LINE.notes[number].techniques} or LINE.notes[number].start == 0:
            continue
        notes = tuple(note for n, note in enumerate(full.heard.notes) if n != number)
        deaf = replace(full, heard=replace(full.heard, notes=notes))
        report = check_attempt(draft(), deaf, TOLERANCES["intermediate"])
        assert report.notes[number].verdict == "played", number
