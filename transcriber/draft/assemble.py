"""Bringing the stages' records together into one draft document.

Overall confidence is the product of the five aspects: the probability that a note needs no correction, were
the aspects calibrated and their errors independent. Where errors come together it is too low, a lower bound;
it never exceeds the least sure aspect.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import chain

import numpy as np

from transcriber.draft.assemble_phrases import draft_phrases
from transcriber.draft.calibration import AS_MEASURED, Calibration
from transcriber.draft.document import FORMAT_VERSION, Draft, DraftInstrument, Issue, MadeBy, Source
from transcriber.draft.note import CONFIDENCE_ASPECTS, Alternative, Confidence, Contour, DraftNote
from transcriber.draft.sureness import UNSURE_BELOW
from transcriber.draft.timing import Timing
from transcriber.records.heard import Heard, HeardNote
from transcriber.records.phrased import PhrasePlaces
from transcriber.records.placed import Instrument, Place, Placed, PlacedBeside
from transcriber.records.problem import Problem
from transcriber.records.take import Take
from transcriber.records.technique import Technique
from transcriber.records.written import Meter, Written, WrittenNote

# Decimals kept. Finer figures are noise that would make drafts differ for no reason.
TIME_DECIMALS = 4
CENTS_DECIMALS = 1
CONFIDENCE_DECIMALS = 3
HERTZ_DECIMALS = 3
TEMPO_DECIMALS = 3
SEMITONE_DECIMALS = 2
RATE_DECIMALS = 2
_SHORTEST_S = 0.001

CHECK_NOTE = "check_note"
_ASPECT_WORDS = {
    "pitch": "its pitch",
    "onset": "its beginning",
    "place": "its place on the neck",
    "rhythm": "its rhythm",
    "technique": "how it is played",
}


SECOND_NOTE_SURE = 0.8
"""Most that the pitch of a double stop's second note is believed."""


@dataclass(frozen=True)
class AssembleSettings:
    """How a draft is assembled.

    Attributes
    ----------
    check_below : float
        Notes whose overall confidence is below this become an issue to check, 0 to 1: at 0.5 those that more
        likely than not need a correction.
    contour_spacing_s : float
        Contours keep every so many frames that the points lie at most this far apart; 0.005 to 0.012.
    calibration : Calibration
        Turns the stages' measures of certainty into probabilities.
    """

    check_below: float = UNSURE_BELOW
    contour_spacing_s: float = 0.012
    calibration: Calibration = AS_MEASURED


def assemble_draft(
    take: Take,
    heard: Heard,
    written: Written,
    placed: Placed,
    instrument: Instrument,
    made_by: MadeBy,
    settings: AssembleSettings | None = None,
    phrases: Sequence[PhrasePlaces] = (),
) -> Draft:
    """Assemble the draft of one take.

    Parameters
    ----------
    take : Take
    heard : Heard
    written, placed : Written, Placed
        With one entry for each heard note, in the same order.
    instrument : Instrument
    made_by : MadeBy
    settings : AssembleSettings, optional
    phrases : sequence of PhrasePlaces
        Phrases of the line with their other fingerings.

    Returns
    -------
    Draft
        Times rounded to 0.1 ms, cents to 0.1, confidences to 0.001. Ids count from ``n001`` in order of
        onset. The stages' problems come first among the issues, then one ``check_note`` for each unsure note.

    Raises
    ------
    ValueError
        If the stages do not agree on the number of notes.
    """
    settings = settings or AssembleSettings()
    _check_counts(heard, written, placed)
    duration_s = _time(take.source_duration_s)
    line = [
        _note(triple, duration_s, written.meter, settings)
        for triple in zip(heard.notes, written.notes, placed.places, strict=True)
    ]
    notes = _numbered([*line, *(_beside(line[second.line_note], second) for second in placed.beside)])
    problems = chain(take.problems, heard.problems, written.problems, placed.problems)
    issues = [issue_of(problem, notes) for problem in problems]
    checks = [check_issue(note) for note in notes if note.confidence.overall < settings.check_below]
    return Draft(
        format_version=FORMAT_VERSION,
        made_by=made_by,
        source=Source(take.file, take.sha256, take.source_sample_rate_hz, duration_s),
        instrument=DraftInstrument(
            name=instrument.name,
            tuning_midi=tuple(int(pitch) for pitch in instrument.tuning_midi),
            capo=instrument.capo,
            frets=instrument.frets,
            reference_hz=_rounded(heard.reference_hz, HERTZ_DECIMALS),
        ),
        timing=timing_of(written),
        key=None,
        chords=(),
        phrases=draft_phrases(phrases, [note for note in notes if note.voice == 1]),
        shapes=(),
        notes=notes,
        issues=(*sorted(issues, key=_issue_order), *checks),
    )


def with_overall(aspects: Mapping[str, float]) -> Confidence:
    """Round the aspects' confidences and add the overall one: their product, to three decimals.

    Parameters
    ----------
    aspects : mapping of str to float
        One for each of `CONFIDENCE_ASPECTS`, 0 to 1.
    """
    rounded = {name: _rounded(aspects[name], CONFIDENCE_DECIMALS) for name in CONFIDENCE_ASPECTS}
    return Confidence(**rounded, overall=_rounded(math.prod(rounded.values()), CONFIDENCE_DECIMALS))


def issue_of(problem: Problem, notes: Sequence[DraftNote]) -> Issue:
    """Make a stage's problem an issue that names the notes sounding in its span."""
    if problem.start_s is None:
        return Issue(problem.code, problem.message, None, None, ())
    start = max(0.0, _time(problem.start_s))
    end = max(start, start if problem.end_s is None else _time(problem.end_s))
    within = tuple(note.id for note in notes if note.onset_s <= end and note.end_s >= start)
    return Issue(problem.code, problem.message, start, end, within)


def _check_counts(heard: Heard, written: Written, placed: Placed) -> None:
    counts = (len(heard.notes), len(written.notes), len(placed.places))
    if len(set(counts)) > 1:
        raise ValueError(f"{counts[0]} notes heard, {counts[1]} written, {counts[2]} placed: must be equal")


def _numbered(notes: list[DraftNote]) -> tuple[DraftNote, ...]:
    """Put notes in order of onset, the line's before what sounds with it, and give them their ids."""
    width = max(3, len(str(len(notes))))
    ordered = sorted(notes, key=lambda note: (note.onset_s, note.voice))
    return tuple(replace(note, id=f"n{index + 1:0{width}d}") for index, note in enumerate(ordered))


def _beside(note: DraftNote, second: PlacedBeside) -> DraftNote:
    """Draft the second note of a double stop: it begins and ends with the line's note."""
    sure = {name: float(getattr(note.confidence, name)) for name in CONFIDENCE_ASPECTS}
    sure |= {"pitch": min(sure["pitch"], SECOND_NOTE_SURE), "place": second.place.confidence}
    return replace(
        note,
        pitch_midi=second.pitch_midi,
        string=second.place.string,
        fret=second.place.fret,
        finger=second.place.finger,
        voice=2,
        techniques=(),
        contour=Contour((), ()),
        confidence=with_overall(sure),
        alternatives=tuple(Alternative(string, fret) for string, fret in second.place.others),
    )


def _note(
    triple: tuple[HeardNote, WrittenNote, Place | None],
    duration_s: float,
    meter: Meter,
    settings: AssembleSettings,
) -> DraftNote:
    heard, written, place = triple
    onset = max(0.0, _time(heard.onset_s))
    # A sound of one frame may end where it begins once rounded; the document wants it to last.
    end = max(min(_time(heard.end_s), duration_s), _time(onset + _SHORTEST_S))
    return DraftNote(
        id="",
        onset_s=onset,
        end_s=end,
        pitch_midi=None if heard.has("dead_note") else int(heard.pitch_midi),
        string=None if place is None else int(place.string),
        fret=None if place is None else int(place.fret),
        finger=None if place is None or place.finger is None else int(place.finger),
        bar=written.bar(meter),
        beat=written.beat(meter),
        length=written.length,
        voice=1,
        velocity=int(heard.velocity),
        techniques=_techniques(heard, written, place, onset, end),
        contour=decimate_contour(heard.contour_times_s, heard.contour_cents, settings.contour_spacing_s),
        remark=None,
        confidence=_confidence(heard, written, place, settings.calibration),
        alternatives=() if place is None else tuple(Alternative(int(s), int(f)) for s, f in place.others),
    )


def _techniques(
    heard: HeardNote, written: WrittenNote, place: Place | None, onset: float, end: float
) -> tuple[Technique, ...]:
    """Round the techniques, make `grace` agree with the written length, name the other fret of a trill."""
    kept = [technique for technique in heard.techniques if technique.kind != "grace"]
    kept = [_trilled(t, place) if t.kind == "trill" else t for t in kept]
    grace = (Technique("grace"),) if written.length == 0 else ()
    return grace + tuple(_technique(technique, onset, end) for technique in kept)


def _trilled(trill: Technique, place: Place | None) -> Technique:
    """Turn a trill's interval into the fret it goes to."""
    if place is None or trill.semitones is None:
        return replace(trill, semitones=None)
    return replace(trill, semitones=None, to_fret=max(place.fret + round(trill.semitones), 0))


def _technique(technique: Technique, onset: float, end: float) -> Technique:
    """Round one technique; a gesture without times of its own takes the note's."""
    start_s, end_s = technique.start_s, technique.end_s
    if technique.kind in ("bend", "release", "vibrato"):
        start_s = onset if start_s is None else start_s
        end_s = end if end_s is None else end_s
    if technique.kind == "pre_bend":
        start_s = onset if start_s is None else start_s
        end_s = start_s if end_s is None else end_s
    return replace(
        technique,
        start_s=None if start_s is None else max(0.0, _time(start_s)),
        end_s=None if end_s is None else max(0.0, _time(end_s)),
        semitones=_maybe_rounded(technique.semitones, SEMITONE_DECIMALS),
        rate_hz=_maybe_rounded(technique.rate_hz, RATE_DECIMALS),
        depth_semitones=_maybe_rounded(technique.depth_semitones, SEMITONE_DECIMALS),
    )


def decimate_contour(times_s: np.ndarray, cents: np.ndarray, spacing_s: float) -> Contour:
    """Thin a contour to points at most `spacing_s` apart, keeping measured values as they are.

    Parameters
    ----------
    times_s, cents : ndarray, shape (k,)
        Evenly spaced frames; NaN in `cents` where there is no pitch.
    spacing_s : float
        Widest spacing wanted, seconds. Frames further apart than this are all kept: none is invented.

    Returns
    -------
    Contour
    """
    step = 1
    if len(times_s) > 1:
        frame_s = float(np.median(np.diff(times_s)))
        # The small allowance keeps a frame of exactly the spacing from being lost to binary fractions.
        step = max(1, math.floor(spacing_s / frame_s + 1e-6))
    values = (float(value) for value in cents[::step])
    return Contour(
        times_s=tuple(_time(float(time)) for time in times_s[::step]),
        cents=tuple(_rounded(value, CENTS_DECIMALS) if math.isfinite(value) else None for value in values),
    )


def _confidence(
    heard: HeardNote, written: WrittenNote, place: Place | None, calibration: Calibration
) -> Confidence:
    """Calibrate and round the aspects; a note with no place on the neck has no confidence in it."""
    measures = {
        "pitch": heard.pitch_confidence,
        "onset": heard.onset_confidence,
        "place": 0.0 if place is None else place.confidence,
        "rhythm": written.confidence,
        "technique": heard.technique_confidence,
    }
    return with_overall({name: calibration.apply(name, measure) for name, measure in measures.items()})


def timing_of(written: Written) -> Timing:
    """Round the rhythm's timing."""
    return Timing(
        tempo_bpm=_rounded(written.tempo_bpm, TEMPO_DECIMALS),
        meter=written.meter,
        swing=_maybe_rounded(written.swing, 2),
        beats_s=tuple(_time(time) for time in written.beats_s),
        first_beat=int(written.first_beat),
        downbeat_confidence=_rounded(written.downbeat_confidence, 3),
    )


def check_issue(note: DraftNote) -> Issue:
    """Make an issue of a note that is to be checked."""
    aspect = min(CONFIDENCE_ASPECTS, key=lambda name: float(getattr(note.confidence, name)))
    sure = getattr(note.confidence, aspect)
    message = (
        f"Bar {note.bar}, beat {note.beat}, at {note.onset_s:.2f} s: {_ASPECT_WORDS[aspect]} is the least "
        f"sure ({sure:.2f} of 1); listen again and correct it if need be."
    )
    return Issue(CHECK_NOTE, message, note.onset_s, note.end_s, (note.id,))


def _issue_order(issue: Issue) -> tuple[bool, float]:
    return issue.start_s is not None, issue.start_s or 0.0


def _time(value: float) -> float:
    return _rounded(value, TIME_DECIMALS)


def _maybe_rounded(value: float | None, decimals: int) -> float | None:
    return None if value is None else _rounded(value, decimals)


def _rounded(value: float, decimals: int) -> float:
    """Round to a plain float; the zero added takes the sign from minus zero."""
    return round(float(value), decimals) + 0.0
