"""A draft under another rhythm: what was heard is read off it, the new rhythm put in, the rest stays."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

import numpy as np

from transcriber.draft.assemble import (
    CHECK_NOTE,
    AssembleSettings,
    check_issue,
    issue_of,
    timing_of,
    with_overall,
)
from transcriber.draft.corrections import Journal
from transcriber.draft.document import Draft, OptionValue
from transcriber.draft.line_parts import Chord
from transcriber.draft.note import CONFIDENCE_ASPECTS, DraftNote
from transcriber.draft.timing import Timing
from transcriber.records.heard import Heard, HeardNote, PitchTrack
from transcriber.records.problem import Problem
from transcriber.records.technique import Technique
from transcriber.records.told import Told
from transcriber.records.written import Written, WrittenNote

TEMPO_UNSURE, DOWNBEAT_UNSURE = "tempo_unsure", "downbeat_unsure"
RHYTHM_ISSUES = frozenset(
    {
        TEMPO_UNSURE,
        DOWNBEAT_UNSURE,
        "onset_outside_rhythm",
        "no_rhythm",
        "count_in_not_found",
        "click_not_found",
        CHECK_NOTE,
    }
)
"""Codes of issues that the rhythm raised; they are raised anew."""

_OUTSIDE = "onset_outside_rhythm"
_PLACE_KEYS = frozenset({"bar", "beat", "length"})
_UNPITCHED = 60  # stands for a pitch that nobody can tell; rhythm does not look at pitches
_EMPTY = np.zeros(0)
_FITS_WITHIN = 0.3  # beats between where a correction puts a note and where the new beats have it


@dataclass(frozen=True)
class RhythmCorrection:
    """A person's correction of rhythm in the journal, and whether it agrees with the rhythm written anew.

    Attributes
    ----------
    revision : int
    note : str or None
        The note it is about; None for the timing of the whole take.
    fits : bool
    """

    revision: int
    note: str | None
    fits: bool


def heard_again(draft: Draft) -> Heard:
    """Give back what was heard, as far as rhythm needs it: onsets, ends, velocities, techniques.

    A grace stays a grace, but an onset that had found no room in the rhythm is weighed again.
    """
    outside = {note for issue in draft.issues if issue.code == _OUTSIDE for note in issue.notes}
    notes = tuple(
        HeardNote(
            onset_s=note.onset_s,
            end_s=note.end_s,
            pitch_midi=_UNPITCHED if note.pitch_midi is None else note.pitch_midi,
            velocity=note.velocity,
            techniques=_without_grace(note) if note.id in outside else note.techniques,
            contour_times_s=_EMPTY,
            contour_cents=_EMPTY,
            pitch_confidence=note.confidence.pitch,
            onset_confidence=note.confidence.onset,
            technique_confidence=note.confidence.technique,
        )
        for note in draft.notes
        if note.voice == 1
    )
    return Heard(notes, draft.instrument.reference_hz, PitchTrack(*[_EMPTY] * 5))


def told_with(draft: Draft, told: Told) -> Told:
    """Complete what is told by the draft: tempo, meter and first downbeat stay where nothing is told."""
    timing = draft.timing
    meter = told.meter or timing.meter
    tempo = told.tempo_bpm
    if tempo is None and meter.compound == timing.meter.compound and meter.unit == timing.meter.unit:
        tempo = (timing.tempo_bpm, timing.tempo_bpm)
    downbeat_s = told.downbeat_s
    if downbeat_s is None and told.pickup is None:
        downbeat_s = timing.time_of(Fraction(0))
    return replace(told, meter=meter, tempo_bpm=tempo, downbeat_s=downbeat_s)


def retimed(
    draft: Draft, written: Written, options: Mapping[str, OptionValue], settings: AssembleSettings
) -> Draft:
    """Put another rhythm in a draft.

    Parameters
    ----------
    draft : Draft
        As drafted, without corrections.
    written : Written
        With one entry for each note of the line (voice 1), in the same order.
    options : mapping
        What was told of the rhythm; recorded in `made_by`.
    settings : AssembleSettings

    Returns
    -------
    Draft
        Pitches, places, techniques, phrases and shapes as they were; chords stand at the beats nearest to
        the times at which they stood.
    """
    timing = timing_of(written)
    line = [note for note in draft.notes if note.voice == 1]
    onsets = np.array([note.onset_s for note in line])
    # What sounds with the line is written where the line's nearest note is.
    nearest = [int(np.abs(onsets - note.onset_s).argmin()) for note in draft.notes]
    notes = tuple(
        _note(note, written.notes[index], written, settings)
        for note, index in zip(draft.notes, nearest, strict=True)
    )
    kept = [issue for issue in draft.issues if issue.code not in RHYTHM_ISSUES]
    kept += [issue_of(problem, notes) for problem in written.problems]
    kept.sort(key=lambda issue: (issue.start_s is not None, issue.start_s or 0.0))
    checks = [check_issue(note) for note in notes if note.confidence.overall < settings.check_below]
    return replace(
        draft,
        made_by=replace(draft.made_by, options={**draft.made_by.options, **options}),
        timing=timing,
        chords=tuple(_chord(chord, draft.timing, timing) for chord in draft.chords),
        notes=notes,
        issues=(*kept, *checks),
    )


def rhythm_corrections(draft: Draft, journal: Journal) -> tuple[RhythmCorrection, ...]:
    """Say which corrections of rhythm agree with a draft written anew.

    A note that a person moved to a beat agrees if that beat is where it sounds; a correction of the timing
    never does, since the timing is new.
    """
    found = []
    for entry in journal.in_force():
        correction = entry.correction
        if correction.action == "change_timing":
            found.append(RhythmCorrection(entry.revision, None, False))
        elif correction.action == "rewrite_rhythm":
            found += _fits_of_many(draft, entry.revision, correction.values)
        elif correction.note is not None and _PLACE_KEYS & set(correction.values):
            mark = correction.note
            note = min(draft.notes, key=lambda one: abs(one.onset_s - mark.onset_s), default=None)
            if note is not None:
                found.append(RhythmCorrection(entry.revision, note.id, _fits(note, correction.values, draft)))
    return tuple(found)


def _fits_of_many(draft: Draft, revision: int, values: Mapping[str, Any]) -> list[RhythmCorrection]:
    """Say which of the notes that one correction names agree; one that brought its own timing never does."""
    if "timing" in values:
        return [RhythmCorrection(revision, None, False)]
    found = []
    for item in values["notes"]:
        near = min(draft.notes, key=lambda one: abs(one.onset_s - item["onset_s"]), default=None)
        if near is not None:
            found.append(RhythmCorrection(revision, near.id, _fits(near, item, draft)))
    return found


def misfits(corrections: tuple[RhythmCorrection, ...]) -> tuple[Problem, ...]:
    """Tell a person of corrections that do not agree with the new rhythm."""
    problems = []
    for one in corrections:
        what = "the timing of the take" if one.note is None else f"the rhythm of note {one.note}"
        if not one.fits:
            message = (
                f"correction {one.revision} of {what} was made for the rhythm before and stands over the new "
                "one; undo it if it is wrong now"
            )
            problems.append(Problem("correction_for_other_rhythm", message))
    return tuple(problems)


def _fits(note: DraftNote, values: Mapping[str, object], draft: Draft) -> bool:
    meter = draft.timing.meter
    try:
        bar = int(str(values.get("bar", note.bar)))
        beat = Fraction(str(values.get("beat", note.beat)))
    except (ValueError, ZeroDivisionError):
        return False
    place = WrittenNote((bar - 1) * meter.beats + beat - 1, Fraction(0), 1.0)
    pace = 60.0 / (draft.timing.tempo_bpm * meter.tap)
    return abs(draft.timing.time_of(place.start) - note.onset_s) <= _FITS_WITHIN * pace


def _without_grace(note: DraftNote) -> tuple[Technique, ...]:
    return tuple(technique for technique in note.techniques if technique.kind != "grace")


def _note(note: DraftNote, place: WrittenNote, written: Written, settings: AssembleSettings) -> DraftNote:
    aspects = {name: float(getattr(note.confidence, name)) for name in CONFIDENCE_ASPECTS}
    aspects["rhythm"] = settings.calibration.apply("rhythm", place.confidence)
    grace = (Technique("grace"),) if place.length == 0 else ()
    return replace(
        note,
        bar=place.bar(written.meter),
        beat=place.beat(written.meter),
        length=place.length,
        techniques=grace + _without_grace(note),
        confidence=with_overall(aspects),
    )


def _chord(chord: Chord, before: Timing, after: Timing) -> Chord:
    """Move a chord to the beat that is nearest to when it began and ended."""

    def beat_at(time_s: float) -> int:
        return after.first_beat + int(np.argmin(np.abs(np.array(after.beats_s) - time_s)))

    begin = chord.start(before.meter)
    start = max(beat_at(before.time_of(begin)), -after.meter.beats)
    length = max(beat_at(before.time_of(begin + chord.length)) - start, 1)
    place = WrittenNote(Fraction(start), Fraction(length), 1.0)
    return replace(chord, bar=place.bar(after.meter), beat=place.beat(after.meter), length=place.length)
