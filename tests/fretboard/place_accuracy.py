"""Share of notes placed on the string and fret they were played at, by kind of line.

Three readings of the same lines: nothing given, the starting position given, and the rule "of all places the
fret nearest the given position", which a person could apply by hand.
"""

from __future__ import annotations

from collections.abc import Sequence

from tests.fretboard.fingered import GUITAR, KINDS, FingeredLine
from tests.fretboard.generated_fingerings import generate
from tests.fretboard.handwritten_fingerings import handwritten
from transcriber.fretboard import place_notes

READINGS = ("nothing_given", "position_given", "nearest_fret_rule")
# Lines on one string and octave leaps are rarer in the idiom than the rest, and the mix is a prior.
LINES_PER_KIND = {
    "fit": {"box": 22, "shifting": 22, "three_a_string": 22, "open": 16, "one_string": 6, "octaves": 6},
    "report": {"box": 16, "shifting": 16, "three_a_string": 16, "open": 10, "one_string": 4, "octaves": 4},
}


def lines_of(half: str) -> list[FingeredLine]:
    """Hand-written and generated lines of one half."""
    made_up = [line for kind in KINDS for line in generate(kind, half, LINES_PER_KIND[half][kind])]
    return handwritten(half) + made_up


def accuracy_by_kind(lines: Sequence[FingeredLine]) -> dict[str, dict[str, float]]:
    """Place accuracy of each reading, for each kind and for all notes together."""
    counts = {kind: dict.fromkeys((*READINGS, "notes"), 0) for kind in (*KINDS, "all")}
    for line in lines:
        truth = line.places()
        found = {
            "nothing_given": _placed(line, None),
            "position_given": _placed(line, line.position),
            "nearest_fret_rule": nearest_fret_places(line),
        }
        for kind in (line.kind, "all"):
            counts[kind]["notes"] += len(truth)
            for reading, places in found.items():
                counts[kind][reading] += sum(a == b for a, b in zip(truth, places, strict=True))
    return {
        kind: {reading: round(count[reading] / count["notes"], 3) for reading in READINGS}
        for kind, count in counts.items()
        if count["notes"]
    }


def nearest_fret_places(line: FingeredLine) -> list[tuple[int, int]]:
    """Place every note at the fret nearest the given position, the lower one of equals."""
    return [
        min(GUITAR.places(note.pitch_midi()), key=lambda place: (abs(place[1] - line.position), place[1]))
        for note in line.notes
    ]


def _placed(line: FingeredLine, position: int | None) -> list[tuple[int, int] | None]:
    places = place_notes(line.heard(), GUITAR, position).places
    return [(place.string, place.fret) if place else None for place in places]
