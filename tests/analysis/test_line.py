"""Phrases, meanings, shapes, figures and hard parts of small lines whose answer is plain."""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.analysis.measure import FOUR_FOUR, STANDARD
from transcriber.analysis import Given, Scale, analyse_line, find_phrases, lay_chords, parse_key
from transcriber.analysis.hard_parts import hard_parts
from transcriber.records.analysed import BendCount, LinePoint

OPEN = STANDARD.tuning_midi


def line(text, start=0, tempo=120):
    """Notes as ``string/fret:length``, rests as ``r:length``; ``b2`` bends by two semitones."""
    at, points = Fraction(start), []
    for token in text.split():
        head, _, tail = token.partition(":")
        length, _, bend = tail.partition("b")
        if head != "r":
            string, fret = (int(part) for part in head.split("/"))
            onset = float(at - start) * 60 / tempo
            end = onset + float(Fraction(length)) * 60 / tempo
            bends = (float(bend),) if bend else ()
            points.append(
                LinePoint(onset, end, at, Fraction(length), OPEN[string - 1] + fret, bends, string, fret)
            )
        at += Fraction(length)
    return points


def analysed(text, key=None, chords=None, **told):
    points = line(text, **told)
    laid = lay_chords(chords, 4, points[-1].start + points[-1].length) if chords else ()
    return analyse_line(points, STANDARD, FOUR_FOUR, Given(parse_key(key) if key else None, laid))


RIFF = "3/5:1/2 3/7:1/2 2/5:1/2 3/7:1/2 4/7:1 3/5:1 "


def test_a_repeat_is_linked_to_the_phrase_it_takes_up():
    same, other = RIFF + "3/7:1 r:3 ", "1/5:1 1/8:2 1/5:1/2 2/8:1/2 2/5:2 r:2 "
    found = analysed(same + other + same + RIFF + "4/5:2 r:2")
    assert [phrase.like for phrase in found.phrases] == [None, None, 0, 0]
    assert found.phrases[2].like_words == "as phrase 1"
    assert found.phrases[3].like_words == "as phrase 1, last bar differs"


def test_a_last_bar_that_differs_is_said_to():
    first = "3/5:1/2 3/7:1/2 2/5:1 2/8:1 2/5:1 3/7:1 3/5:1 r:2 "
    second = "3/5:1/2 3/7:1/2 2/5:1 2/8:1 2/5:1 3/7:1 4/7:1 r:2"
    found = analysed(first + second)
    assert [phrase.like_words for phrase in found.phrases] == [None, "as phrase 1, last bar differs"]


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(40, 76), st.sampled_from([1, 2, 3, 4, 8])), min_size=1, max_size=70))
def test_phrases_cover_every_note_once_and_ignore_transposition(drawn):
    at, points, moved = Fraction(0), [], []
    for pitch, sixteenths in drawn:
        length = Fraction(sixteenths, 4)
        for made, up in ((points, 0), (moved, 5)):
            made.append(LinePoint(float(at), float(at + length), at, length, pitch + up))
        at += length
    spans = find_phrases(points, 4)
    assert spans[0][0] == 0
    assert spans[-1][1] == len(points)
    assert all(one[1] == other[0] for one, other in pairwise(spans))
    assert find_phrases(moved, 4) == spans


def test_notes_are_judged_by_the_pitch_they_are_bent_to():
    meaning = analysed("3/7:1b2 3/5:1", key="A minor", chords="Am").meanings[0]
    assert (meaning.name, meaning.degree, meaning.chord_degree) == ("E", "5", "5")
    assert meaning.fretted_degree == "4"
    assert meaning.role == "chord_tone"


def test_chord_tones_extensions_passing_and_approach_notes_are_told_apart():
    # Over C: E F G (passing F), A held (13), then F# leading to G by a half step, D# far from anything.
    found = analysed(
        "2/5:1/2 2/6:1/2 1/3:1 1/5:2 1/2:1/2 1/3:1/2 2/4:1 1/5:1 2/8:1", key="C major", chords="C"
    )
    roles = [meaning.role for meaning in found.meanings]
    assert roles == [
        "chord_tone", "passing", "chord_tone", "extension", "approach", "chord_tone", "outside", "extension",
        "chord_tone",
    ]  # fmt: skip
    assert [meaning.name for meaning in found.meanings][4] == "F#"
    assert [meaning.chord_degree for meaning in found.meanings][:5] == ["3", "11", "5", "13", "#11"]


def test_without_chords_there_are_degrees_but_no_roles():
    meaning = analysed("3/5:1 3/7:1", key="A minor").meanings[0]
    assert (meaning.degree, meaning.chord, meaning.role) == ("b3", None, None)


def test_notes_before_bar_1_and_under_no_chord_have_none():
    found = analysed("3/5:1 3/7:4 3/5:4", key="A minor", chords="Am | NC", start=-1)
    assert [meaning.chord for meaning in found.meanings] == [None, "Am", None]


@pytest.mark.parametrize(
    ("key", "name"), [("G major", "F#"), ("Db major", "Gb"), ("E minor", "F#"), ("Bb minor", "Gb")]
)
def test_names_follow_the_key(key, name):
    """One fret, spelled by the key; what falls from outside the key is a lowered degree."""
    assert analysed("1/2:1 1/0:1", key=key).meanings[0].name == name


def test_triads_are_named_over_their_own_chord_and_over_another():
    # E minor over C, from the check values: 3 5 7.
    found = analysed("4/2:1 3/0:1 2/0:1 1/0:1", key="C major", chords="C")
    assert [shape.name for shape in found.shapes if shape.kind == "triad"] == ["Em triad over C"]
    assert [meaning.chord_degree for meaning in found.meanings] == ["3", "5", "7", "3"]
    own = analysed("3/5:1 2/5:1 2/8:1 1/0:1", key="C major", chords="C")
    assert [shape.name for shape in own.shapes if shape.kind == "triad"] == ["C triad"]


def test_half_steps_and_chromatic_runs_are_found():
    found = analysed("3/4:1 2/1:1 2/2:1 2/5:1", key="A major")
    assert [(s.name, s.first, s.stop) for s in found.shapes if s.kind == "half_step_approach"] == [
        ("half step from below to C#", 1, 3)
    ]
    run = analysed("2/1:1 2/2:1 2/3:1 2/4:1 2/5:1 2/3:1", key="C major")
    assert [(s.name, s.first, s.stop) for s in run.shapes if s.kind == "chromatic_run"] == [
        ("chromatic run up from C to E", 0, 5)
    ]
    assert not [s for s in run.shapes if s.kind == "half_step_approach"]


def test_a_span_says_which_notes_it_explains_and_which_it_does_not():
    found = analysed("1/5:1 1/8:1 2/5:1 3/8:1/2 3/7:1/2 3/5:1 4/7:2", key="A minor")
    box = found.shapes[0]
    assert (box.name, box.also, box.position) == ("A minor pentatonic, box 1", ("C major pentatonic",), 5)
    assert box.unexplained == (3,)
    assert box.explained == (0, 1, 2, 4, 5, 6)


def test_a_major_scale_shape_names_its_relative_and_the_mode_in_hand():
    text = "4/12:1 3/9:1 3/10:1 3/12:1 2/10:1 2/12:1 2/13:1 1/10:1"
    shape = analysed(text, key="D dorian").shapes[0]
    assert (shape.name, shape.also) == ("C major scale, D shape", ("A minor scale", "D dorian"))


def test_notes_that_no_shape_explains_are_a_position():
    shape = analysed("1/5:1 1/6:1 1/7:1 1/8:1 2/5:1 2/6:1 2/7:1 2/8:1 3/5:1 3/6:1", key="C major").shapes[0]
    assert set(shape.explained) | set(shape.unexplained) == set(range(10))


def test_a_line_without_notes_has_nothing():
    found = analyse_line([], STANDARD, FOUR_FOUR)
    assert (found.phrases, found.shapes, found.meanings) == ((), (), ())
    assert found.key.confidence == 0


def test_hard_parts_are_counted():
    points = [
        LinePoint(0.0, 0.1, Fraction(0), Fraction(1, 2), 69, (2.0,), 1, 5, 1),
        LinePoint(0.1, 0.2, Fraction(1, 2), Fraction(1, 2), 72, (), 1, 8, 4),
        LinePoint(0.2, 0.3, Fraction(1), Fraction(1, 2), 64, (1.9,), 2, 5, 1),
        LinePoint(0.3, 1.0, Fraction(3, 2), Fraction(5, 2), 76, (0.5,), 1, 12, 1),
    ]
    found = hard_parts(points)
    assert found.notes_a_second == pytest.approx(10)
    assert found.shift_frets == 7
    assert found.stretch_frets == 3
    assert found.bends == (BendCount(0.5, 1), BendCount(2.0, 2))
    assert found.string_changes_a_beat == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("1/5:1 1/8:1 2/5:1 3/7:1 3/5:1 4/7:1 4/5:1 4/7:2", "A minor"),
        ("2/1:1 2/3:1 1/0:1 1/1:1 1/3:1 1/5:1 1/7:1 1/8:2 2/1:2", "C major"),
    ],
)
def test_plain_lines_have_their_plain_key(text, key):
    found = analysed(text).key
    assert Scale(found.tonic, found.mode) == parse_key(key)
    assert not found.given
    assert found.outside == ()
