"""Whether a written line can be played at all, told in one line if not."""

from __future__ import annotations

from dataclasses import replace

from transcriber.errors import UsageError
from transcriber.records.line import Line, LineNote
from transcriber.records.technique import Technique

HARMONIC_OF_NODE: dict[int, int] = {12: 2, 7: 3, 19: 3, 5: 4, 24: 4, 4: 5, 9: 5, 16: 5}
"""Partial that sounds when the string is touched over a fret (harmonic series)."""

BEND_BOUNDS_SEMITONES = (0.1, 5.0)
SLURS = ("hammer_on", "pull_off")
FROM_NOTE_BEFORE = (*SLURS, "slide")


def has(note: LineNote, *kinds: str) -> bool:
    """Tell whether a written note carries a technique of one of these kinds."""
    return any(technique.kind in kinds for technique in note.techniques)


def check_line(line: Line) -> None:
    """Refuse a line that no player could play.

    Parameters
    ----------
    line : Line
        Notes in playing order; a grace stands before the note it decorates, at the same start.

    Raises
    ------
    UsageError
        For the first note that is out of order, off the neck, or carries a technique that its place or
        the note before it does not allow. Notes are counted from 1.
    """
    if not line.notes:
        raise UsageError("the line has no notes; write at least one")
    if not 20 <= line.tempo_bpm <= 400:
        raise UsageError(f"tempo_bpm is {line.tempo_bpm:g}; give 20 to 400")
    if line.swing is not None and not 1 <= line.swing <= 4:
        raise UsageError(f"swing is {line.swing:g}; give a long:short ratio of 1 to 4, or null")
    for index, note in enumerate(line.notes):
        before = line.notes[index - 1] if index else None
        after = line.notes[index + 1] if index + 1 < len(line.notes) else None
        fault = (
            _place_fault(line, note)
            or _time_fault(note, before, after)
            or _gesture_fault(line, note)
            or _arrival_fault(note, before)
        )
        if fault:
            raise UsageError(f"note {index + 1} (start {note.start}): {fault}")


def playable(line: Line) -> Line:
    """Leave out what no player could play: techniques that do not fit, then notes that do not.

    Parameters
    ----------
    line : Line
        Notes in playing order.

    Returns
    -------
    Line
        With the notes and techniques that `check_line` accepts; it may have no notes at all.
    """
    kept: list[LineNote] = []
    for index, note in enumerate(line.notes):
        after = line.notes[index + 1] if index + 1 < len(line.notes) else None
        before = kept[-1] if kept else None
        if _place_fault(line, note) or _time_fault(note, before, after):
            continue
        able: tuple[Technique, ...] = ()
        for technique in note.techniques:
            trial = replace(note, techniques=(*able, technique))
            if not (_gesture_fault(line, trial) or _arrival_fault(trial, before)):
                able = trial.techniques
        if has(note, "grace") and not any(one.kind == "grace" for one in able):
            continue
        kept.append(replace(note, techniques=able))
    return replace(line, notes=tuple(kept))


def _place_fault(line: Line, note: LineNote) -> str | None:
    strings = len(line.instrument.tuning_midi)
    if not 1 <= note.string <= strings:
        return f"string is {note.string}; give 1 to {strings}"
    if not 0 <= note.fret <= line.instrument.highest_fret:
        return f"fret is {note.fret}; give 0 to {line.instrument.highest_fret}, counted from the capo"
    if not 1 <= note.velocity <= 127:
        return f"velocity is {note.velocity}; give 1 to 127"
    return None


def _time_fault(note: LineNote, before: LineNote | None, after: LineNote | None) -> str | None:
    if has(note, "grace"):
        if note.length != 0:
            return f"a grace has length {note.length}; give 0"
        if after is None or after.start != note.start:
            return "a grace needs the note it decorates right after it, at the same start"
    elif note.length <= 0:
        return f"length is {note.length}; give more than 0, or mark the note a grace"
    if before is None:
        return None
    if note.start < before.start or (note.start == before.start and not has(before, "grace")):
        return f"it does not start after the note ahead of it ({before.start}); put the notes in order"
    return None


def _gesture_fault(line: Line, note: LineNote) -> str | None:
    low, high = BEND_BOUNDS_SEMITONES
    for technique in note.techniques:
        if technique.kind in ("bend", "pre_bend"):
            if note.fret == 0:
                return f"a {technique.kind} on an open string; fret it"
            if technique.semitones is None or not low <= technique.semitones <= high:
                return f"{technique.kind} semitones is {technique.semitones}; give {low:g} to {high:g}"
        elif technique.kind == "vibrato" and note.fret == 0:
            return "vibrato on an open string; fret it"
        elif technique.kind == "trill":
            to_fret = technique.to_fret
            if to_fret is None or to_fret == note.fret or not 0 <= to_fret <= line.instrument.highest_fret:
                return f"trill to_fret is {to_fret}; give another fret on the neck"
        elif technique.kind == "natural_harmonic" and note.fret not in HARMONIC_OF_NODE:
            return f"no natural harmonic over fret {note.fret}; use {sorted(HARMONIC_OF_NODE)}"
    return _release_fault(note)


def _release_fault(note: LineNote) -> str | None:
    height = 0.0
    for technique in note.techniques:
        if technique.kind in ("bend", "pre_bend"):
            height = technique.semitones or 0.0
        elif technique.kind == "release":
            target = technique.semitones or 0.0
            if not 0 <= target < height:
                return f"release to {target:g} from {height:g} semitones; write a higher bend before it"
            height = target
    return None


def _arrival_fault(note: LineNote, before: LineNote | None) -> str | None:
    for technique in note.techniques:
        if technique.kind not in FROM_NOTE_BEFORE:
            continue
        if before is None or before.string != note.string:
            return f"{technique.kind} must come right after another note on string {note.string}"
        if technique.kind == "hammer_on" and note.fret <= before.fret:
            return f"hammer_on from fret {before.fret} to {note.fret}; it must go up"
        if technique.kind == "pull_off" and note.fret >= before.fret:
            return f"pull_off from fret {before.fret} to {note.fret}; it must go down"
        if technique.kind == "slide" and note.fret == before.fret:
            return f"slide from fret {before.fret} to the same fret"
    return None
