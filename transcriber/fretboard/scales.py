"""Whether a line leaves scale steps out, which decides how many notes a hand plays on a string."""

from __future__ import annotations

from collections.abc import Sequence

_MOST_GAPPED_CLASSES = 6


def gapped_scales(pitches_midi: Sequence[int], reach: int) -> list[bool]:
    """Tell of each note whether the notes around it form a gapped scale.

    Parameters
    ----------
    pitches_midi : sequence of int
    reach : int
        Notes before and after that are looked at.
    """
    return [
        is_gapped({pitch % 12 for pitch in pitches_midi[max(index - reach, 0) : index + reach + 1]})
        for index in range(len(pitches_midi))
    ]


def is_gapped(pitch_classes: set[int]) -> bool:
    """Tell whether pitch classes are of a pentatonic, with or without a chromatic passing note.

    A pentatonic has no semitone in it; the blues scale adds one note between two that are a tone apart.
    """
    if len(pitch_classes) > _MOST_GAPPED_CLASSES:
        return False
    semitones = [step for step in pitch_classes if (step + 1) % 12 in pitch_classes]
    if not semitones:
        return True
    return len(semitones) == 2 and (semitones[0] - semitones[1]) % 12 in (1, 11)
