"""Questions in words, their readings, and what taking a reading makes of the draft."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from review_samples import drafted, sureness, with_note

from transcriber.draft import CONFIDENCE_ASPECTS, NotePlace, PhraseAlternative
from transcriber.errors import DraftError
from transcriber.records.technique import Technique
from transcriber.records.written import Meter
from transcriber.review.desk import _with as applied
from transcriber.review.questions import AS_DRAFTED, open_questions, question_about
from transcriber.review.words import beat_words, length_words, number_words, tones_words
from transcriber.rework import written_score


def keys(question):
    return [reading.key for reading in question.readings]


def taken(draft, question, key):
    return applied(draft, question.reading(key).corrections)


def test_a_sure_draft_asks_nothing():
    assert open_questions(drafted()) == ()


def test_every_reading_of_every_note_is_a_draft_that_can_be_written():
    draft = drafted()
    for note in draft.notes[:12]:
        for aspect in CONFIDENCE_ASPECTS:
            question = question_about(draft, note.id, aspect)
            assert keys(question)[0] == AS_DRAFTED
            assert len(set(keys(question))) == len(keys(question)) <= 5
            assert question.words[0].isupper()
            for reading in question.readings:
                assert reading.words
                written_score(applied(draft, reading.corrections))


def test_the_draft_as_drafted_leaves_all_but_the_confidence():
    draft = with_note(drafted(), "n003", confidence=sureness(technique=0.2, place=0.4))
    question = open_questions(draft)[0]
    assert (question.about, question.aspect) == ("n003", "technique")
    after = taken(draft, question, AS_DRAFTED)
    note = after.note("n003")
    assert replace(note, confidence=sureness()) == replace(draft.note("n003"), confidence=sureness())
    # The place is asked about next, as it keeps the note unsure.
    (left,) = open_questions(after)
    assert (left.about, left.aspect) == ("n003", "place")
    assert open_questions(taken(after, left, AS_DRAFTED)) == ()


@pytest.mark.parametrize("aspect", CONFIDENCE_ASPECTS)
def test_any_reading_settles_the_aspect_it_was_asked_about(aspect):
    draft = with_note(drafted(), "n006", confidence=sureness(**{aspect: 0.2}))
    question = open_questions(draft)[0]
    assert question.aspect == aspect
    for key in keys(question):
        assert [one.about for one in open_questions(taken(draft, question, key))] == []


def test_a_pull_off_may_have_been_picked_or_slid():
    question = question_about(drafted(), "n009", "technique")
    assert question.words == "Bar 2, beat 1½: pulled off, picked or slid to?"
    assert taken(drafted(), question, "picked").note("n009").techniques == ()
    (slide,) = taken(drafted(), question, "slide").note("n009").techniques
    assert (slide.kind, slide.picked) == ("slide", False)


def test_a_bend_is_asked_about_by_how_far():
    low = with_note(
        drafted(), "n001", techniques=(replace(drafted().note("n001").techniques[0], semitones=1.0),)
    )
    question = question_about(low, "n001", "technique")
    assert "The draft says ½; the trace reaches 2.0 frets." in question.words
    assert keys(question)[1] == "bend_2"
    assert taken(low, question, "bend_2").note("n001").techniques[0].semitones == 2.0
    assert taken(low, question, "pre_bend").note("n001").has("pre_bend")
    assert not taken(low, question, "plain").note("n001").techniques


def test_a_second_note_of_the_same_pitch_may_be_the_first_held_on():
    draft = drafted()
    note = draft.note("n002")
    middle, half = round((note.onset_s + note.end_s) / 2, 4), note.length / 2
    parts = (
        replace(note, end_s=middle, length=half),
        replace(note, id="n002b", onset_s=middle, beat=note.beat + half, length=half),
    )
    notes = tuple(part for one in draft.notes for part in (parts if one.id == "n002" else (one,)))
    question = question_about(replace(draft, notes=notes, shapes=()), "n002b", "onset")
    after = taken(replace(draft, notes=notes, shapes=()), question, "held")
    assert after.note("n002b") is None
    assert (after.note("n002").length, after.note("n002").end_s) == (note.length, note.end_s)


def test_a_phrase_that_may_lie_elsewhere_is_one_question():
    draft = drafted()
    phrase = draft.phrases[0]
    notes = draft.phrase_notes(phrase)
    neck = draft.instrument.fretted
    other = []
    for note in notes:
        string, fret = max(neck.places(note.pitch_midi), key=lambda place: place[1] if place[1] < 16 else -1)
        other.append(NotePlace(note.id, string, fret))
    strings = tuple(sorted({place.string for place in other}))
    alternative = PhraseAlternative(12, strings, 0, 0.5, True, "higher up", tuple(other))
    unsure = replace(notes[0], confidence=sureness(place=0.6))
    draft = replace(
        with_note(draft, unsure.id, confidence=unsure.confidence),
        phrases=(replace(phrase, alternatives=(alternative,)), *draft.phrases[1:]),
    )
    (question,) = open_questions(draft)
    assert (question.about, question.aspect) == (phrase.id, "fingering")
    assert question.notes == tuple(note.id for note in notes)
    after = taken(draft, question, "fingering_1")
    assert [(note.string, note.fret) for note in after.phrase_notes(phrase)] == [
        (place.string, place.fret) for place in other
    ]
    assert open_questions(after) == ()
    assert open_questions(taken(draft, question, AS_DRAFTED)) == ()


def test_an_octave_too_high_is_put_where_the_hand_is():
    note = drafted().note("n006")
    high = with_note(drafted(), "n006", pitch_midi=note.pitch_midi + 12, string=1, fret=15)
    question = question_about(high, "n006", "pitch")
    after = taken(high, question, "step_-12").note("n006")
    assert (after.string, after.fret) == (note.string, note.fret)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (beat_words(7, Fraction(2)), "bar 7, beat 2"),
        (beat_words(0, Fraction(9, 2)), "pickup, beat 4½"),
        (number_words(Fraction(1, 3)), "⅓"),
        (number_words(Fraction(9, 7)), "1 2/7"),
        (length_words(Fraction(3, 4), Meter(4, 4)), "dotted eighth"),
        (length_words(Fraction(1, 3), Meter(4, 4)), "triplet eighth"),
        (length_words(Fraction(3), Meter(6, 8)), "dotted quarter"),
        (length_words(Fraction(5), Meter(4, 4)), "5 beats long"),
        (length_words(Fraction(0), Meter(4, 4)), "grace"),
        (tones_words(2.0), "full"),
        (tones_words(1.1), "½"),
        (tones_words(3.0), "1½"),
    ],
)
def test_words(said, words):
    assert said == words


def test_a_reading_that_breaks_a_rule_does_not_pass():
    draft = drafted()
    question = question_about(draft, "n001", "place")
    note = replace(draft.note("n001"), techniques=(Technique("grace"),))
    with pytest.raises(DraftError):
        applied(with_note(draft, "n001", techniques=note.techniques), question.readings[1].corrections)
