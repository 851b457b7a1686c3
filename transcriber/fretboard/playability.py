"""Shifts that are faster than a hand goes, told as problems."""

from __future__ import annotations

from collections.abc import Sequence

from transcriber.fretboard.lattice import Lattice, Step
from transcriber.records.heard import HeardNote
from transcriber.records.pitch import pitch_name
from transcriber.records.problem import Problem


def too_fast_shifts(
    lattice: Lattice, steps: Sequence[Step], path: Sequence[int], notes: Sequence[HeardNote]
) -> list[Problem]:
    """List the shifts of a path that go beyond their step's reach.

    Parameters
    ----------
    lattice : Lattice
    steps : sequence of Step
    path : sequence of int
        State of each step.
    notes : sequence of HeardNote
        One for each step.
    """
    problems = []
    positions = [
        int(lattice.states(step.key).position[state]) for step, state in zip(steps, path, strict=True)
    ]
    for index, step in enumerate(steps[1:], 1):
        shift = abs(positions[index] - positions[index - 1])
        if step.reach is None or shift <= step.reach:
            continue
        before, note = notes[index - 1], notes[index]
        apart = max(note.onset_s - before.onset_s, 0.0)
        problems.append(
            Problem(
                "shift_too_fast",
                f"between {pitch_name(before.pitch_midi)} and {pitch_name(note.pitch_midi)} the hand has "
                f"{apart:.2f} s to shift {shift} frets, more than it can; check both pitches and places",
                before.onset_s,
                note.onset_s,
            )
        )
    return problems
