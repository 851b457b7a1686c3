"""What each note is: its degree in the key and over its chord, and the part it plays there.

A note is judged by the pitch it is bent to. Parts, the first that fits (common practice, as a rule of thumb):

- `chord_tone`: the chord's symbol names it;
- `approach`: outside the key or reached by a leap, it leads by a half step to a note of the chord that
  sounds then;
- `passing`: no longer than a tapped beat, reached and left by a step, going on or turning back;
- `extension`: a note of the key, or a ninth, eleventh or thirteenth of the chord;
- `outside`: anything else.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence

from transcriber.analysis.chords import ChordSymbol, parse_chord
from transcriber.analysis.scales import Scale
from transcriber.records.analysed import ChordSpan, LinePoint, NoteMeaning, Role

_TENSIONS = ("9", "11", "#11", "13")
_STEP = 2


def sounding_chords(points: Sequence[LinePoint], chords: Sequence[ChordSpan]) -> list[ChordSymbol | None]:
    """Chord under each note: the one that holds where the note is written."""
    ordered = sorted(chords, key=lambda chord: chord.start)
    starts = [chord.start for chord in ordered]
    found: list[ChordSymbol | None] = []
    for point in points:
        at = bisect_right(starts, point.start) - 1
        held = at >= 0 and point.start < ordered[at].start + ordered[at].length
        found.append(parse_chord(ordered[at].name) if held else None)
    return found


def note_meanings(
    points: Sequence[LinePoint], scale: Scale, sounding: Sequence[ChordSymbol | None], tap: int = 1
) -> tuple[NoteMeaning | None, ...]:
    """Say of each note what it is.

    Parameters
    ----------
    points : sequence of LinePoint
    scale : Scale
    sounding : sequence of (ChordSymbol or None)
        Chord under each note.
    tap : int
        Denominator beats in a tapped beat.

    Returns
    -------
    tuple of (NoteMeaning or None)
        None for a note without a pitch.
    """
    goals = [point.goal_midi for point in points]
    found: list[NoteMeaning | None] = []
    for index, goal in enumerate(goals):
        if goal is None:
            found.append(None)
            continue
        after = goals[index + 1] if index + 1 < len(goals) else None
        name, degree = scale.spell(goal, rises=after is not None and after - goal == 1)
        chord = sounding[index]
        fretted = points[index].pitch_midi
        found.append(
            NoteMeaning(
                name=name,
                degree=degree,
                in_key=goal % 12 in scale.classes,
                chord=chord.name if chord else None,
                chord_degree=chord.degree(goal) if chord else None,
                role=_role(index, goals, points, scale, sounding, tap) if chord else None,
                fretted_degree=scale.spell(fretted)[1] if fretted is not None and fretted != goal else None,
            )
        )
    return tuple(found)


def _role(
    index: int,
    goals: Sequence[int | None],
    points: Sequence[LinePoint],
    scale: Scale,
    sounding: Sequence[ChordSymbol | None],
    tap: int,
) -> Role:
    goal, chord = goals[index], sounding[index]
    assert goal is not None
    assert chord is not None
    if goal % 12 in chord.classes:
        return "chord_tone"
    before = goals[index - 1] if index else None
    after = goals[index + 1] if index + 1 < len(goals) else None
    in_key = goal % 12 in scale.classes
    if after is not None and abs(after - goal) == 1:
        there = sounding[index + 1] or chord
        leapt = before is None or abs(before - goal) > _STEP
        if after % 12 in there.classes and (leapt or not in_key):
            return "approach"
    if before is not None and after is not None and points[index].length <= tap:
        came, goes = goal - before, after - goal
        if 0 < abs(came) <= _STEP and 0 < abs(goes) <= _STEP and (came * goes > 0 or after == before):
            return "passing"
    if in_key or chord.degree(goal) in _TENSIONS:
        return "extension"
    return "outside"
