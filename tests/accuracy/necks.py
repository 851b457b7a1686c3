"""Places on the neck that a line may walk over: boxes, shapes of three notes a string, open position.

A `Shape` is a ladder of places in ascending pitch, as a hand finds them without looking: one rung is
one step of the scale. Shapes follow common practice (two notes a string of a pentatonic scale make the
five boxes; three notes a string of a diatonic scale make the long shapes).
"""

from __future__ import annotations

from dataclasses import dataclass

from transcriber.records.placed import Instrument

GUITAR = Instrument("guitar", (64, 59, 55, 50, 45, 40), 22)
MINOR_PENTATONIC = (0, 3, 5, 7, 10)
MAJOR_PENTATONIC = (0, 2, 4, 7, 9)
BLUES = (0, 3, 5, 6, 7, 10)
NATURAL_MINOR = (0, 2, 3, 5, 7, 8, 10)
DORIAN = (0, 2, 3, 5, 7, 9, 10)
MAJOR = (0, 2, 4, 5, 7, 9, 11)
MIXOLYDIAN = (0, 2, 4, 5, 7, 9, 10)
OPEN_KEYS = (
    (40, MINOR_PENTATONIC),
    (45, MINOR_PENTATONIC),
    (43, MAJOR),
    (48, MAJOR),
    (40, BLUES),
    (50, MIXOLYDIAN),
)
Rung = tuple[int, int]


@dataclass(frozen=True)
class Shape:
    """A ladder of (string, fret) in ascending pitch."""

    rungs: tuple[Rung, ...]

    def pitch(self, index: int) -> int:
        """MIDI number of a rung."""
        string, fret = self.rungs[index]
        return GUITAR.open_midi(string) + fret

    def nearest(self, pitch_midi: int) -> int:
        """Index of the rung nearest in pitch."""
        return min(range(len(self.rungs)), key=lambda index: abs(self.pitch(index) - pitch_midi))

    def index_finger(self, index: int) -> int:
        """Fret of the index finger when a rung is played: the lowest in reach, here or one string aside."""
        string, fret = self.rungs[index]
        return min(f for s, f in self.rungs if abs(s - string) <= 1 and fret - 4 < f <= fret)


def scale_pitches(tonic_midi: int, steps: tuple[int, ...]) -> list[int]:
    """All pitches of a scale within the guitar's range."""
    classes = {(tonic_midi + step) % 12 for step in steps}
    return [pitch for pitch in range(40, 64 + GUITAR.frets + 1) if pitch % 12 in classes]


def per_string(tonic_midi: int, steps: tuple[int, ...], lowest_fret: int, notes_a_string: int) -> Shape:
    """Climb a scale from string 6, so many notes on each string, beginning at or above a fret."""
    pitches = scale_pitches(tonic_midi, steps)
    at = next(i for i, pitch in enumerate(pitches) if pitch >= 40 + lowest_fret)
    rungs: list[Rung] = []
    for string in range(6, 0, -1):
        for pitch in pitches[at : at + notes_a_string]:
            fret = pitch - GUITAR.open_midi(string)
            if 0 <= fret <= GUITAR.frets:
                rungs.append((string, fret))
        at += notes_a_string
    return Shape(tuple(rungs))


def box(tonic_midi: int, steps: tuple[int, ...], lowest_fret: int) -> Shape:
    """All notes of a scale within four frets of the hand, one place for each pitch (the lower string)."""
    pitches = set(scale_pitches(tonic_midi, steps))
    rungs: dict[int, Rung] = {}
    for string in range(1, 7):
        for fret in range(lowest_fret, lowest_fret + 4):
            pitch = GUITAR.open_midi(string) + fret
            if pitch in pitches:
                rungs[pitch] = (string, fret)
    return Shape(tuple(rungs[pitch] for pitch in sorted(rungs)))


def open_position(tonic_midi: int, steps: tuple[int, ...]) -> Shape:
    """Notes of a scale on open strings and the first frets, each pitch on its thinnest string."""
    rungs: dict[int, Rung] = {}
    for pitch in scale_pitches(tonic_midi, steps):
        string, fret = GUITAR.places(pitch)[0]
        if fret <= 4:
            rungs[pitch] = (string, fret)
    return Shape(tuple(rungs[pitch] for pitch in sorted(rungs)))


def along_strings(
    tonic_midi: int, steps: tuple[int, ...], strings: tuple[int, ...], start_fret: int
) -> Shape:
    """Climb the neck: five scale notes on each string in turn, thick to thin."""
    pitches = scale_pitches(tonic_midi, steps)
    low = GUITAR.open_midi(max(strings)) + start_fret
    at = next(i for i, pitch in enumerate(pitches) if pitch >= low)
    rungs = []
    for string in sorted(strings, reverse=True):
        for pitch in pitches[at : at + 5]:
            fret = pitch - GUITAR.open_midi(string)
            if 0 <= fret <= 19:
                rungs.append((string, fret))
        at += 5
    return Shape(tuple(rungs))
