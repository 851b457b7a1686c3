"""The lines marked by hand, and lines that nothing was fitted to, against what must be reached."""

import pytest

from tests.analysis.fit_key import boundary_f
from tests.analysis.keyed_lines import REPORT, bench_line, song_line
from tests.analysis.marked import marked_lines
from tests.analysis.measure import analysis_of, generated_key_share, phrase_counts, seconds_for, shape_hits
from transcriber.analysis import parse_chord, parse_key
from transcriber.analysis.phrases import shipped_phrase_parameters
from transcriber.analysis.scales import MODE_DEGREE, Scale, pitch_class

LINES = marked_lines()


def test_there_are_enough_lines_of_enough_notes():
    assert len(LINES) >= 12
    assert all(len(line.notes) >= 32 for line in LINES)
    assert len({line.facts["idiom"] for line in LINES}) == len(LINES)


@pytest.mark.parametrize(("chords", "least"), [(False, 0.85), (True, 0.98)])
def test_signatures(chords, least):
    right = []
    for line in LINES:
        key, wanted = analysis_of(line, chords).key, parse_key(line.facts["key"])
        right.append(Scale(key.tonic, key.mode).parent_class == wanted.parent_class)
    assert sum(right) >= least * len(LINES)


def test_phrase_boundaries():
    hits, found, marked = (sum(each) for each in zip(*map(phrase_counts, LINES), strict=True))
    assert 2 * hits >= 0.8 * (found + marked)


def test_shapes():
    right = [hit for line in LINES for hit in shape_hits(line, analysis_of(line))]
    assert sum(right) >= 0.9 * len(right)


def test_repeats_are_linked_as_marked():
    linked = marked = 0
    for line in LINES:
        phrases = analysis_of(line).phrases
        if len(phrases) != len(line.phrase_starts):
            continue
        for number, other, _ in line.likes:
            marked += 1
            linked += phrases[number - 1].like is not None
            assert phrases[number - 1].like in (None, *range(number - 1)), other
    assert marked >= 6
    assert linked >= 0.8 * marked


@pytest.mark.parametrize(
    "line", [line for line in LINES if "triads" in line.facts], ids=lambda line: line.title
)
def test_triads_are_outlined_as_marked(line):
    found = {shape.name for shape in analysis_of(line, chords=True, key=True).shapes if shape.kind == "triad"}
    for words in line.facts["triads"].split(", "):
        triad, _, chord = words.partition(" over ")
        name = f"{triad} triad" if triad == chord else f"{triad} triad over {chord}"
        assert name in found


def test_degrees_given_key_and_chords():
    """Every degree again, by intervals alone: in the key, and over the chord's root."""
    major = (0, 2, 4, 5, 7, 9, 11)
    for line in LINES:
        tonic = parse_key(line.facts["key"]).tonic_class
        analysis = analysis_of(line, chords=True, key=True)
        for note, meaning in zip(line.notes, analysis.meanings, strict=True):
            goal = note.pitch_midi + round(note.bend)
            number = int(meaning.degree.strip("#b"))
            sounding = major[number - 1] + meaning.degree.count("#") - meaning.degree.count("b")
            assert (tonic + sounding - goal) % 12 == 0
            assert pitch_class(meaning.name) == goal % 12
            if meaning.chord is None:
                assert note.start < 0
                continue
            chord = parse_chord(meaning.chord)
            over = meaning.chord_degree
            step = major[(int(over.strip("#b")) - 1) % 7] + over.count("#") - over.count("b")
            assert (chord.root_class + step - goal) % 12 == 0
            assert (meaning.role == "chord_tone") == (goal % 12 in chord.classes)


@pytest.mark.parametrize("mode", MODE_DEGREE)
def test_an_analysis_moves_with_its_line(mode):
    """A tone up is a tone up: the same degrees and shapes two frets higher."""
    assert Scale("D", mode).parent_class == (Scale("C", mode).parent_class + 2) % 12


@pytest.mark.accuracy
@pytest.mark.parametrize(
    ("make", "chords", "least"),
    [(song_line, False, 0.85), (song_line, True, 0.98), (bench_line, False, 0.85), (bench_line, True, 0.98)],
)
def test_signatures_of_lines_that_were_not_fitted(make, chords, least):
    assert generated_key_share(make, chords) >= least


@pytest.mark.accuracy
def test_boundaries_of_lines_that_were_not_fitted():
    lines = [song_line(REPORT + number) for number in range(100)]
    assert boundary_f(lines, shipped_phrase_parameters()) >= 0.8


@pytest.mark.benchmark
def test_two_thousand_notes_take_less_than_a_second():
    assert min(seconds_for() for _ in range(3)) < 1.0
