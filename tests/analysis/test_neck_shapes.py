"""Shapes on the neck against what textbooks print (common practice)."""

import pytest

from transcriber.analysis.neck_shapes import MAJOR_SHAPES, PENTATONIC_BOXES, shapes_on
from transcriber.analysis.scales import pitch_class

STANDARD = (64, 59, 55, 50, 45, 40)
ROW = "CAGED"


def shapes(kind, root, label, opens=STANDARD, frets=22):
    root = pitch_class(root)
    found = [s for s in shapes_on(opens, frets) if (s.kind, s.root, s.label) == (kind, root, label)]
    return sorted(found, key=lambda shape: shape.lowest)


def frets_of(shape, strings=6):
    """Frets of each string, the lowest string first."""
    return [[f for s, f in shape.places if s == string] for string in range(strings, 0, -1)]


def test_first_box_of_a_minor_pentatonic():
    """From the project's check values: strings 6 to 1 play 5-8, 5-7, 5-7, 5-7, 5-8, 5-8."""
    box = shapes("pentatonic_box", "A", "1")[0]
    assert frets_of(box) == [[5, 8], [5, 7], [5, 7], [5, 7], [5, 8], [5, 8]]
    assert box.position == 5


@pytest.mark.parametrize(("chord", "label", "places"), [
    # Open chords as every chord book prints them, string 6 first, None where it is not played.
    ("C", "C", (None, 3, 2, 0, 1, 0)), ("A", "A", (None, 0, 2, 2, 2, 0)), ("G", "G", (3, 2, 0, 0, 0, 3)),
    ("E", "E", (0, 2, 2, 1, 0, 0)), ("D", "D", (None, None, 0, 2, 3, 2)),
])  # fmt: skip
def test_each_major_shape_contains_the_open_chord_it_is_named_after(chord, label, places):
    shape = shapes("major_scale_shape", chord, label)[0]
    wanted = {(6 - index, fret) for index, fret in enumerate(places) if fret is not None}
    assert wanted <= set(shape.places)
    assert shape.lowest == 0


def test_major_shapes_follow_one_another_up_the_neck_in_the_order_of_their_name():
    lows = {label: shapes("major_scale_shape", "C", label)[0].lowest for label in ROW}
    assert sorted(lows, key=lambda label: lows[label]) == list(ROW)


@pytest.mark.parametrize("kind", ["pentatonic_box", "major_scale_shape"])
def test_shapes_hold_only_and_all_notes_of_their_scale(kind):
    for shape in shapes_on(STANDARD, 22):
        if shape.kind != kind:
            continue
        pitches = {STANDARD[string - 1] + fret for string, fret in shape.places}
        assert {pitch % 12 for pitch in pitches} == shape.classes
        # Within the shape's compass no note of the scale is left out.
        inside = {p for p in range(min(pitches), max(pitches) + 1) if p % 12 in shape.classes}
        assert pitches == inside, (shape.kind, shape.label, shape.root)


def test_tables_have_six_strings_and_hand_sized_rows():
    for rows in (*PENTATONIC_BOXES.values(), *MAJOR_SHAPES.values()):
        assert len(rows) == 6
        assert max(max(row) for row in rows) - min(min(row) for row in rows) <= 5


@pytest.mark.parametrize("label", PENTATONIC_BOXES)
def test_five_boxes_lie_in_the_five_major_shapes(label):
    """The first box of the relative minor lies in the G shape, and so on (common practice)."""
    inside = dict(zip("12345", "GEDCA", strict=True))
    box = set(shapes("pentatonic_box", "A", label)[-1].places)
    majors = [set(shape.places) for shape in shapes("major_scale_shape", "C", inside[label])]
    assert any(box <= major for major in majors)


def test_tuned_down_and_capo_move_the_frets_of_a_key():
    down = tuple(pitch - 2 for pitch in STANDARD)
    assert frets_of(shapes("pentatonic_box", "A", "1", down)[0])[0] == [7, 10]
    capo = tuple(pitch + 3 for pitch in STANDARD)
    assert frets_of(shapes("pentatonic_box", "A", "1", capo)[0])[0] == [2, 5]


def test_a_string_tuned_otherwise_keeps_the_scale():
    drop_d = (*STANDARD[:5], 38)
    box = shapes("pentatonic_box", "A", "1", drop_d)[0]
    assert frets_of(box)[1:] == [[5, 7], [5, 7], [5, 7], [5, 8], [5, 8]]
    assert all((38 + fret) % 12 in box.classes for fret in frets_of(box)[0])
    seven = (*STANDARD, 35)
    assert frets_of(shapes("pentatonic_box", "A", "1", seven)[0], 7)[1] == [5, 8]
    bass = (43, 38, 33, 28)
    assert frets_of(shapes("pentatonic_box", "A", "1", bass)[0], 4) == [[5, 8], [5, 7], [5, 7], [5, 7]]
