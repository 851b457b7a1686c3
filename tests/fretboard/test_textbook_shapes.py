"""Boxes and scale shapes come out as teachers write them (common practice), in several keys, up and down."""

from __future__ import annotations

import pytest

from tests.fretboard.fingered import GUITAR, FingeredNote
from tests.fretboard.textbook_shapes import (
    A_MINOR_PENTATONIC,
    C_MAJOR,
    C_MAJOR_REACHING_BACK,
    Place,
    moved,
)
from transcriber.fretboard import place_notes
from transcriber.records.heard import HeardNote
from transcriber.records.placed import Placed

WAYS = pytest.mark.parametrize("way", [1, -1], ids=["up", "down"])
STEPS_S = (0.12, 0.3)


def heard(places: list[Place], step_s: float) -> list[HeardNote]:
    return [
        FingeredNote(index * step_s, (index + 0.95) * step_s, *place).heard()
        for index, place in enumerate(places)
    ]


def places_in(placed: Placed) -> list[Place]:
    return [(place.string, place.fret) for place in placed.places if place]


@WAYS
@pytest.mark.parametrize("key", [-1, 0, 2, 3, 5])
@pytest.mark.parametrize("position", A_MINOR_PENTATONIC)
def test_five_boxes_of_a_minor_pentatonic(position: int, key: int, way: int) -> None:
    """A minor moved to Ab, A, B, C and D minor; the relative major shares the boxes."""
    box = moved(A_MINOR_PENTATONIC[position], key)[::way]
    for step_s in STEPS_S:
        assert places_in(place_notes(heard(box, step_s), GUITAR, position + key)) == box


@WAYS
@pytest.mark.parametrize("key", [0, 1, 2, 4, 5])
@pytest.mark.parametrize("name", C_MAJOR)
def test_five_shapes_of_a_major_scale(name: str, key: int, way: int) -> None:
    """C major moved to C, Db, D, E and F."""
    position, rows = C_MAJOR[name]
    shape = moved(rows, key)[::way]
    for step_s in STEPS_S:
        assert places_in(place_notes(heard(shape, step_s), GUITAR, position + key)) == shape


@WAYS
@pytest.mark.parametrize("name", C_MAJOR_REACHING_BACK)
def test_the_shapes_that_reach_back_need_pins(name: str, way: int) -> None:
    """Where teachers differ, pins on the notes that lie elsewhere bring the other shape, and move no more."""
    shape = moved(C_MAJOR_REACHING_BACK[name], 2)[::way]
    usual = moved(C_MAJOR[name][1], 2)[::way]
    pins = {index: place for index, place in enumerate(shape) if place not in usual}
    assert len(pins) <= 2
    notes = heard(shape, 0.3)
    assert places_in(place_notes(notes, GUITAR, C_MAJOR[name][0] + 2, pins)) == shape


@pytest.mark.parametrize(("low", "high"), [(2, 1), (4, 3), (6, 5)])
def test_one_finger_rolls_over_neighbouring_strings(low: int, high: int) -> None:
    """Fourths at one fret, in the middle of a box: the same finger takes both, and the hand stays."""
    roll = [(low, 5), (low, 8), (low, 7), (high, 7), (low, 7), (high, 7), (low, 5)]
    found = [place for place in place_notes(heard(roll, 0.25), GUITAR, 5).places if place]
    assert [(place.string, place.fret) for place in found] == roll
    fingers = [place.finger for place in found if place.fret == 7]
    assert set(fingers) == {3}
