"""Letters and signs for MIDI pitches: which of F# and Gb is meant in a key.

Conventions: common practice. On the line of fifths (F C G D A, 0 is C) a key spells its twelve pitches by
twelve neighbours: C major Ab Eb Bb F C G D A E B F# C#, A minor from Eb up to G#, its raised seventh. No
double sharps or flats.
"""

from __future__ import annotations

from dataclasses import dataclass

from transcriber.draft import Key

LETTERS_BY_FIFTHS = "FCGDAEB"
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
MODE_FIFTHS = {
    "lydian": 1,
    "major": 0,
    "mixolydian": -1,
    "dorian": -2,
    "minor": -3,
    "phrygian": -4,
    "locrian": -5,
}
"""Sharps of a mode's signature beyond those of the major key on the same tonic."""

MOST_SIGNS = 7
LOWEST_OF_ALL, HIGHEST_LOWEST = -8, 1
"""Bounds of the lowest name of a key, so that all twelve lie from Fb to B#."""

BELOW_TONIC_SIGNATURE = 4
"""The lowest name lies so many fifths below the tonic of the major key of a signature; in minor one less."""


@dataclass(frozen=True)
class SpelledPitch:
    """Letter, sharps (negative: flats) and octave; middle C is C, 0, 4."""

    step: str
    alter: int
    octave: int

    @property
    def midi(self) -> int:
        """The MIDI number again."""
        return 12 * (self.octave + 1) + SEMITONES[self.step] + self.alter


def fifths_of(key: Key) -> int:
    """Sharps of the key signature, negative for flats; a key beyond seven is written as its equal.

    Examples
    --------
    >>> fifths_of(Key("A", "minor")), fifths_of(Key("E", "dorian")), fifths_of(Key("G#", "major"))
    (0, 2, -4)
    """
    tonic = LETTERS_BY_FIFTHS.index(key.tonic[0]) - 1
    signs = tonic + 7 * (key.tonic.count("#") - key.tonic[1:].count("b")) + MODE_FIFTHS[key.mode]
    while signs > MOST_SIGNS:
        signs -= 12
    while signs < -MOST_SIGNS:
        signs += 12
    return signs


def spelled(pitch_midi: int, key: Key | None) -> SpelledPitch:
    """Spell a pitch in a key, or by the names most used where there is none."""
    lowest = -BELOW_TONIC_SIGNATURE
    if key is not None:
        lowest += fifths_of(key) + (key.mode == "minor")
        lowest = min(max(lowest, LOWEST_OF_ALL), HIGHEST_LOWEST)
    # Seven fifths are a semitone up (modulo octaves), and 7 * 7 = 1 (mod 12).
    place = lowest + (pitch_midi * 7 - lowest) % 12
    alter, letter = divmod(place + 1, 7)
    step = LETTERS_BY_FIFTHS[letter]
    return SpelledPitch(step, alter, (pitch_midi - alter - SEMITONES[step]) // 12 - 1)


def signature(key: Key | None) -> dict[str, int]:
    """Alteration of each letter by the key signature."""
    signs = 0 if key is None else fifths_of(key)
    altered = dict.fromkeys(LETTERS_BY_FIFTHS, 0)
    for letter in LETTERS_BY_FIFTHS[:signs] if signs > 0 else LETTERS_BY_FIFTHS[signs:] if signs < 0 else "":
        altered[letter] = 1 if signs > 0 else -1
    return altered
