"""Places for the second notes of double stops, beside the line's notes that are placed already."""

from __future__ import annotations

from collections.abc import Sequence

from transcriber.records.heard import HeardNote
from transcriber.records.pitch import pitch_name
from transcriber.records.placed import Instrument, Place, PlacedBeside
from transcriber.records.problem import Problem

_REACH_FRETS = 4
_FAR_STRING = 0.4  # frets of stretch that a string in between is worth
_SECOND_CONFIDENCE = 0.8


def place_beside(
    notes: Sequence[HeardNote], places: Sequence[Place | None], instrument: Instrument
) -> tuple[tuple[PlacedBeside, ...], tuple[Problem, ...]]:
    """Place the second note of each double stop on another string within the hand's reach.

    Parameters
    ----------
    notes : sequence of HeardNote
    places : sequence of Place or None
        Of the notes themselves.
    instrument : Instrument

    Returns
    -------
    tuple of PlacedBeside
        In the order of the notes.
    tuple of Problem
        One for each second note that no string within reach can play.
    """
    placed: list[PlacedBeside] = []
    problems: list[Problem] = []
    for index, (note, place) in enumerate(zip(notes, places, strict=True)):
        if note.second_midi is None or place is None:
            continue
        reached = [
            (string, fret)
            for string, fret in instrument.places(note.second_midi)
            if string != place.string and (_stretch(fret, place.fret) <= _REACH_FRETS)
        ]
        if reached:
            best = min(reached, key=lambda at: _cost(at, place))
            others = tuple(at for at in reached if at != best)
            second = Place(*best, None, _SECOND_CONFIDENCE, others)
            placed.append(PlacedBeside(index, note.second_midi, second))
        else:
            name = pitch_name(note.second_midi)
            problems.append(
                Problem(
                    "second_note_unplaced",
                    f"{name} sounds with the note at {note.onset_s:.2f} s, but no other string within the "
                    "hand's reach has it; check both by ear",
                    note.onset_s,
                    note.end_s,
                )
            )
    return tuple(placed), tuple(problems)


def _stretch(fret: int, other: int) -> int:
    """Frets between two, 0 if one of them is open."""
    return 0 if 0 in (fret, other) else abs(fret - other)


def _cost(at: tuple[int, int], place: Place) -> float:
    string, fret = at
    return _stretch(fret, place.fret) + _FAR_STRING * (abs(string - place.string) - 1)
