"""Scales, degrees and chords against music21, and what the trade calls common practice."""

from fractions import Fraction

import pytest
from music21 import chord as m21chord
from music21 import harmony, key, scale

from transcriber.analysis.chords import QUALITIES, lay_chords, parse_chord, parse_progression
from transcriber.analysis.scales import MODE_DEGREE, Scale, parse_key, pitch_class, scale_on
from transcriber.errors import UsageError

LETTERS = [letter + sign for letter in "CDEFGAB" for sign in ("", "#", "b")]
SCALES = {
    "major": scale.MajorScale, "minor": scale.MinorScale, "dorian": scale.DorianScale,
    "phrygian": scale.PhrygianScale, "lydian": scale.LydianScale, "mixolydian": scale.MixolydianScale,
    "locrian": scale.LocrianScale,
}  # fmt: skip
KEYS = [(tonic, mode) for tonic in LETTERS for mode in MODE_DEGREE if abs(Scale(tonic, mode).signature) <= 7]


def theirs(name):
    return name.replace("b", "-") if name[1:] else name


def ours(pitch):
    return pitch.name.replace("-", "b")


@pytest.mark.parametrize(("tonic", "mode"), KEYS)
def test_scales_are_spelled_as_music21_spells_them(tonic, mode):
    mine = Scale(tonic, mode)
    reference = SCALES[mode](theirs(tonic))
    assert mine.names == tuple(ours(pitch) for pitch in reference.getPitches(f"{theirs(tonic)}3")[:7])
    assert mine.signature == key.Key(theirs(tonic), mode).sharps


@pytest.mark.parametrize(("tonic", "mode"), [pair for pair in KEYS if pair[1] in ("major", "minor")])
def test_relatives_are_those_of_music21(tonic, mode):
    relative = key.Key(theirs(tonic), mode).relative
    assert Scale(tonic, mode).relative == f"{ours(relative.tonic)} {relative.mode}"


@pytest.mark.parametrize(("tonic", "mode"), KEYS)
def test_every_pitch_has_a_name_and_a_degree_that_agree(tonic, mode):
    """A degree against the major scale of the tonic names the same pitch as the letter does."""
    mine = Scale(tonic, mode)
    for pitch in range(12):
        for rises in (False, True):
            name, degree = mine.spell(pitch, rises)
            number = int(degree.strip("#b"))
            semitones = (0, 2, 4, 5, 7, 9, 11)[number - 1] + degree.count("#") - degree.count("b")
            assert pitch_class(name) == pitch
            assert (mine.tonic_class + semitones) % 12 == pitch
            assert "CDEFGAB".index(name[0]) == ("CDEFGAB".index(tonic[0]) + number - 1) % 7


def test_keys_take_the_fewest_signs():
    majors = [scale_on(pitch, "major").tonic for pitch in range(12)]
    minors = [scale_on(pitch, "minor").tonic for pitch in range(12)]
    # Common practice on the circle of fifths.
    assert majors == ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"]
    assert minors == ["C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B"]


@pytest.mark.parametrize(
    ("text", "tonic", "mode"),
    [
        ("A minor", "A", "minor"), ("f#m", "F#", "minor"), ("Bb", "Bb", "major"), ("D dorian", "D", "dorian"),
        ("b minor", "B", "minor"), ("Eb Major", "Eb", "major"), ("G-mixolydian", "G", "mixolydian"),
    ],
)  # fmt: skip
def test_keys_are_read_as_people_write_them(text, tonic, mode):
    assert parse_key(text) == Scale(tonic, mode)


@pytest.mark.parametrize("text", ["", "H minor", "A mnor", "minor", "A minor pentatonic!", "G# major"])
def test_bad_keys_are_refused_in_one_line(text):
    with pytest.raises(UsageError) as refused:
        parse_key(text)
    assert text in str(refused.value)
    assert "\n" not in str(refused.value)


# How music21 writes a quality that is written otherwise here.
M21 = {"-": "m", "min": "m", "maj": "", "min7": "m7", "-7": "m7", "M7": "maj7", "maj9": "M9",
       "mmaj7": "mM7",
       "7sus4": "7sus4", "sus": "sus4", "5": "power", "aug": "+", "aug7": "+7"}  # fmt: skip
COMPARED = (
    "", "maj", "m", "min", "-", "dim", "aug", "+", "sus2", "sus4", "6", "m6", "7", "maj7", "M7", "m7", "min7",
    "-7", "m7b5", "dim7", "aug7", "+7", "9", "maj9", "m9", "mM7",
)  # fmt: skip


@pytest.mark.parametrize("root", LETTERS)
def test_chords_have_the_notes_of_music21(root):
    for quality in COMPARED:
        mine = parse_chord(root + quality)
        reference = harmony.ChordSymbol(theirs(root) + M21.get(quality, quality))
        assert mine.classes == set(reference.pitchClasses), root + quality
        assert mine.root_class == reference.root().pitchClass


def test_every_quality_in_the_table_is_read():
    for quality, steps in QUALITIES.items():
        assert parse_chord("C" + quality).steps == steps


@pytest.mark.parametrize(
    ("symbol", "classes"),
    [
        ("C7#9", {0, 4, 7, 10, 3}), ("C7b9", {0, 4, 7, 10, 1}), ("C7(#11)", {0, 4, 7, 10, 6}),
        ("C13", {0, 4, 7, 10, 2, 9}), ("D/F#", {2, 6, 9}), ("C/G", {0, 4, 7}), ("Am7/G", {9, 0, 4, 7}),
        ("C6/9", {0, 4, 7, 9, 2}), ("E5", {4, 11}), ("Cadd9", {0, 2, 4, 7}), ("G7sus4", {7, 0, 2, 5}),
        ("Bbm7b5", {10, 1, 4, 8}),
    ],
)  # fmt: skip
def test_chords_of_lead_sheets(symbol, classes):
    """Common practice of lead sheets."""
    assert parse_chord(symbol).classes == classes


@pytest.mark.parametrize(
    ("notes", "chord", "degrees"),
    [
        # From the project's check values (common practice): triads laid over other chords.
        ("E G B", "C", "3 5 7"), ("C E G", "Am", "b3 5 b7"), ("G B D", "F", "9 #11 13"),
        ("C Eb G", "C7", "1 #9 5"), ("F", "Csus4", "4"), ("Gb", "Cdim", "b5"), ("G#", "Caug", "#5"),
        ("A", "C6", "6"), ("A", "C7", "13"), ("A", "Cdim7", "bb7"), ("D", "C9", "9"), ("Db", "C", "b9"),
    ],
)  # fmt: skip
def test_degrees_over_chords(notes, chord, degrees):
    symbol = parse_chord(chord)
    assert [symbol.degree(pitch_class(note)) for note in notes.split()] == degrees.split()


def test_triads_of_a_major_key():
    """I ii iii IV V vi vii(dim); common practice, each triad named by music21 too."""
    names = Scale("G", "major").names
    for degree, quality in enumerate(["", "m", "m", "", "", "m", "dim"]):
        mine = parse_chord(names[degree] + quality)
        stacked = {pitch_class(names[(degree + step) % 7]) for step in (0, 2, 4)}
        assert mine.classes == stacked
        reference = m21chord.Chord([theirs(names[(degree + step) % 7]) for step in (0, 2, 4)])
        assert reference.quality == {"": "major", "m": "minor", "dim": "diminished"}[quality]


def test_chords_share_a_bar_and_hold():
    bars = parse_progression("Am F | % | C / / G | NC")
    half, quarter = Fraction(1, 2), Fraction(1, 4)
    assert bars[0] == bars[1] == (("Am", half), ("F", half))
    assert bars[2] == (("C", 3 * quarter), ("G", quarter))
    assert bars[3] == (("NC", Fraction(1)),)
    assert parse_progression("Am F C G") == parse_progression("Am | F | C | G")
    assert parse_progression("| Am F |") == (bars[0],)


def test_chords_loop_over_the_take_to_the_end_of_its_last_bar():
    laid = lay_chords("Am | NC | G", 3, Fraction(25, 2))
    assert [(chord.name, chord.start, chord.length) for chord in laid] == [
        ("Am", 0, 3), ("G", 6, 3), ("Am", 9, 3),
    ]  # fmt: skip
    assert len(lay_chords("Am", 4, Fraction(0))) == 1


@pytest.mark.parametrize(
    "text", ["", "|", "Am | | F", "% | Am", "/ Am |", "Am | Hm", "Am | Fmaj77", "A m7b5x"]
)
def test_bad_chords_are_refused_in_one_line(text):
    with pytest.raises(UsageError) as refused:
        parse_progression(text)
    assert "\n" not in str(refused.value)
