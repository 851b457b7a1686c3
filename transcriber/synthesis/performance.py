"""From a written line to a performance: when and how each note is really played.

A performance is the truth of a rendered take. Everything a player adds (timing, drift of the tempo, the
times of gestures, small misses) is drawn here, from one seed, and written into the records.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from transcriber.records.line import Line, LineNote, Performance, PlayedNote
from transcriber.records.technique import Technique
from transcriber.synthesis.fretted import Neck, Span, fretted_changes
from transcriber.synthesis.gestures import GRID_S, gesture_curve, plan_gestures
from transcriber.synthesis.line_check import HARMONIC_OF_NODE, SLURS, check_line, has
from transcriber.synthesis.style import PlayingStyle
from transcriber.synthesis.timing import beat_times, note_onsets, time_of_beat

FloatArray = npt.NDArray[np.float64]

_STACCATO_SHARE = 0.45
_DEAD_NOTE_S = 0.09
_LONGEST_RING_S = 3.0
_SHORTEST_NOTE_S = 0.03
_ARTICULATION_SPREAD = 0.02
_LARGEST_SHARE_GLIDING = 0.45
_WHOLE_NOTE_KINDS = ("palm_mute", "dead_note", "let_ring", "staccato", "natural_harmonic")


def perform(
    line: Line, style: PlayingStyle, seed: int, beats: tuple[FloatArray, int] | None = None
) -> Performance:
    """Play a line.

    Parameters
    ----------
    line : Line
        Notes in playing order; a grace stands before the note it decorates, at the same start.
    style : PlayingStyle
    seed : int
        Same line, style and seed give the same performance.
    beats : tuple of ndarray and int, optional
        Times of the denominator beats to play to, seconds, and the number of the first of them (0 is
        beat 1 of bar 1), in place of beats at the line's tempo after the style's lead-in. They reach from
        before the first note to after the last.

    Returns
    -------
    Performance
        One played note for each written note, in the same order. A slurred or slid note follows its
        predecessor without a gap: the predecessor ends where the glide begins or the new pitch sounds.

    Raises
    ------
    UsageError
        If the line cannot be played (see `check_line`).

    Examples
    --------
    >>> performance = perform(line, EXACT, seed=0)  # doctest: +SKIP
    >>> [note.onset_s for note in performance.notes]  # doctest: +SKIP
    [0.4, 0.65, 0.9]
    """
    check_line(line)
    rng = np.random.default_rng([seed, 0])
    beats_s, first_beat = beat_times(line, style, rng) if beats is None else beats
    onsets_s = note_onsets(line, style, beats_s, first_beat, rng)
    spans = _spans(line, style, onsets_s, beats_s, first_beat, rng)
    notes: list[PlayedNote] = []
    for index, (written, span) in enumerate(zip(line.notes, spans, strict=True)):
        # Every note draws from its own stream, so that changing one leaves the others as they were.
        own = np.random.default_rng([seed, 1, index])
        notes.append(_play_note(line, written, span, notes[-1] if notes else None, style, own))
    return Performance(line, tuple(notes), tuple(float(t) for t in beats_s), first_beat)


def _spans(
    line: Line,
    style: PlayingStyle,
    onsets_s: FloatArray,
    beats_s: FloatArray,
    first_beat: int,
    rng: np.random.Generator,
) -> list[Span]:
    glides = [_glide_start(line, style, onsets_s, index, rng) for index in range(len(line.notes))]
    shares = style.articulation + rng.normal(0.0, _ARTICULATION_SPREAD, len(line.notes))
    spans = []
    for index, note in enumerate(line.notes):
        onset = float(onsets_s[index])
        after = line.notes[index + 1] if index + 1 < len(line.notes) else None
        if after is not None and has(after, *SLURS, "slide"):
            spans.append(Span(glides[index], onset, glides[index + 1]))
            continue
        written_end_s = time_of_beat(line, note.start + note.length, beats_s, first_beat) + style.lag_s
        end = onset + float(np.clip(shares[index], 0.2, 1.2)) * max(written_end_s - onset, style.grace_s)
        if has(note, "staccato"):
            end = onset + _STACCATO_SHARE * (written_end_s - onset)
        elif has(note, "dead_note"):
            end = min(end, onset + _DEAD_NOTE_S)
        elif has(note, "let_ring"):
            end = onset + _LONGEST_RING_S
        if after is not None and has(after, "grace") and not has(note, "let_ring"):
            end = min(
                end, float(onsets_s[index + 1])
            )  # the hand that plays the grace has left the note before
        end = max(end, onset + _SHORTEST_NOTE_S)
        spans.append(Span(glides[index], onset, min(end, _next_on_string(line, onsets_s, glides, index))))
    return spans


def _next_on_string(line: Line, onsets_s: FloatArray, glides: list[float], index: int) -> float:
    string = line.notes[index].string
    for later in range(index + 1, len(line.notes)):
        if line.notes[later].string == string:
            return min(glides[later], float(onsets_s[later]))
    return float("inf")


def _glide_start(
    line: Line, style: PlayingStyle, onsets_s: FloatArray, index: int, rng: np.random.Generator
) -> float:
    onset = float(onsets_s[index])
    if not has(line.notes[index], "slide"):
        return onset
    frets = abs(line.notes[index].fret - line.notes[index - 1].fret)
    wanted = min(style.slide_s_per_fret * frets, style.slide_longest_s) * rng.uniform(0.85, 1.15)
    return onset - min(wanted, _LARGEST_SHARE_GLIDING * (onset - float(onsets_s[index - 1])))


def _play_note(
    line: Line,
    note: LineNote,
    span: Span,
    before: PlayedNote | None,
    style: PlayingStyle,
    rng: np.random.Generator,
) -> PlayedNote:
    pitch_midi, offset = _pitch(line, note)
    if note.fret > 0 and not has(note, "natural_harmonic"):
        offset += rng.normal(0.0, style.intonation_cents) / 100.0
    plan = plan_gestures(note.techniques, span.onset_s, span.end_s, style, rng)
    neck = _neck(line, note, before, pitch_midi + offset)
    changes = fretted_changes(plan.techniques, span, neck, style, rng)
    grid = np.arange(span.onset_s, span.end_s, GRID_S)
    times = np.unique(np.concatenate([[span.glide_s], grid, changes.times_s, [span.end_s]]))
    times = times[times <= span.end_s]
    curve = gesture_curve(plan, times) + offset
    if len(changes.times_s):
        curve = curve + np.interp(times, changes.times_s, changes.semitones)
    velocity = int(np.clip(round(note.velocity + rng.normal(0.0, style.velocity_sd)), 1, 127))
    for array in (times, curve):
        array.flags.writeable = False
    return PlayedNote(
        onset_s=span.onset_s,
        end_s=span.end_s,
        string=note.string,
        fret=note.fret,
        pitch_midi=pitch_midi,
        velocity=velocity,
        picked=not has(note, *SLURS) and not _glides_unpicked(note),
        curve_times_s=times,
        curve_semitones=curve,
        techniques=tuple(_over_whole_note(technique, span) for technique in changes.techniques),
    )


def _neck(line: Line, note: LineNote, before: PlayedNote | None, pitch: float) -> Neck:
    highest = line.instrument.highest_fret
    if before is None:
        return Neck(note.fret, highest, note.fret, 0.0)
    origin = before.pitch_midi + float(before.curve_semitones[-1]) - pitch
    return Neck(note.fret, highest, before.fret, origin)


def _pitch(line: Line, note: LineNote) -> tuple[int, float]:
    open_midi = line.instrument.open_midi(note.string)
    if not has(note, "natural_harmonic"):
        return open_midi + note.fret, 0.0
    interval = 12.0 * np.log2(HARMONIC_OF_NODE[note.fret])
    return open_midi + round(interval), float(interval - round(interval))


def _glides_unpicked(note: LineNote) -> bool:
    return any(technique.kind == "slide" and not technique.picked for technique in note.techniques)


def _over_whole_note(technique: Technique, span: Span) -> Technique:
    if technique.kind in _WHOLE_NOTE_KINDS:
        return replace(technique, start_s=span.onset_s, end_s=span.end_s)
    return technique
