"""Whether a line leaves scale steps out, which decides how many notes a hand plays on a string."""

from __future__ import annotations

from collections.abc import Sequence, Set

_MOST_GAPPED_CLASSES = 6


def scales_around(pitches_midi: Sequence[int], reach: int) -> list[frozenset[int]]:
    """List for each note the pitch classes of the notes around it.

    Parameters
    ----------
    pitches_midi : sequence of int
    reach : int
        Notes before and after that are looked at; notes are taken `reach` at a time.
    """
    scales = []
    for start in range(0, len(pitches_midi), reach):
        around = pitches_midi[max(start - reach, 0) : start + 2 * reach]
        scales += [frozenset(pitch % 12 for pitch in around)] * len(pitches_midi[start : start + reach])
    return scales


def is_gapped(pitch_classes: Set[int]) -> bool:
    """Tell whether pitch classes are of a pentatonic, with or without a chromatic passing note.

    A pentatonic has no semitone in it; the blues scale adds one note between two that are a tone apart.
    """
    if len(pitch_classes) > _MOST_GAPPED_CLASSES:
        return False
    semitones = [step for step in pitch_classes if (step + 1) % 12 in pitch_classes]
    if not semitones:
        return True
    return len(semitones) == 2 and (semitones[0] - semitones[1]) % 12 in (1, 11)


def passing_notes(pitch_classes: Set[int]) -> frozenset[int]:
    """Pitch classes with a semitone to either side, such as the one a blues scale adds to a pentatonic."""
    return frozenset(
        step for step in pitch_classes if {(step - 1) % 12, (step + 1) % 12} <= set(pitch_classes)
    )
