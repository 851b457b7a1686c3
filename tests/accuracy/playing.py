"""A player for the spliced takes, written apart from the project's synthesiser.

The project must not be measured on the very gestures it was built beside, so here bends rise along a
raised cosine, vibrato starts late and only raises the pitch (lowers it on a held bend), slides halt a little
at the frets on the way, and slurs step at once. Timing wanders by a slow walk of tempo and a jitter per note.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from transcriber.records.line import Line, LineNote, Performance, PlayedNote
from transcriber.records.technique import Technique

JITTER_SD_S = 0.007
JITTER_SHARE_OF_GAP = 0.07
TEMPO_WANDER = 0.004
# Slides of two, three and seven frets last about 75, 75 and 140 ms in tests/data/takes, and the pitch
# halts a little at the frets on the way.
GLIDE_S, GLIDE_S_PER_FRET = 0.05, 0.013
GLIDE_SPREAD = (0.7, 1.1)
LONGEST_SHARE_GLIDING = 0.45
HALT_AT_FRETS = 0.35
BEND_S = (0.09, 0.2)
SLURS = ("hammer_on", "pull_off")
CURVE_STEP_S = 0.004


@dataclass(frozen=True)
class Timed:
    """Times set beforehand: onsets and ends of the notes, and every denominator beat from `first_beat` on."""

    onsets: list[float]
    ends: list[float]
    beats_s: np.ndarray
    first_beat: int


def play(line: Line, seed: int, timed: Timed | None = None) -> Performance:
    """Play a line: times, curves and techniques as they were played.

    Parameters
    ----------
    line : Line
        Notes in order, no two at once.
    seed : int
    timed : Timed, optional
        When the notes are to sound; else the player's own timing.
    """
    rng = np.random.default_rng([seed, 77])
    if timed is None:
        first_beat = int(np.floor(line.notes[0].start)) - 1
        last = line.notes[-1]
        last_beat = int(np.ceil(last.start + last.length)) + 1
        beats_s = _beat_times(line.tempo_bpm * line.meter.tap, last_beat - first_beat + 1, rng)
        onsets = _onsets(line, beats_s, first_beat, rng)
        ends = _ends(line, beats_s, first_beat, onsets, rng)
    else:
        onsets, ends, beats_s, first_beat = timed.onsets, timed.ends, timed.beats_s, timed.first_beat
    notes = []
    for index, note in enumerate(line.notes):
        before = line.notes[index - 1] if index else None
        notes.append(_play_note(line, note, before, onsets[index], ends[index], rng))
    notes = _leave_room_for_glides(notes)
    return Performance(line, tuple(notes), tuple(round(float(t), 6) for t in beats_s), first_beat)


def _beat_times(tempo_bpm: float, count: int, rng: np.random.Generator) -> np.ndarray:
    wander = np.cumsum(rng.normal(0, TEMPO_WANDER, count))
    wander -= np.linspace(0, wander[-1], count)
    periods = 60.0 / tempo_bpm * (1 + np.clip(wander, -0.02, 0.02))
    return rng.uniform(0.05, 0.4) + np.concatenate([[0.0], np.cumsum(periods[:-1])])


def _at(beat: Fraction, beats_s: np.ndarray, first_beat: int) -> float:
    return float(np.interp(float(beat) - first_beat, np.arange(len(beats_s)), beats_s))


def _onsets(line: Line, beats_s: np.ndarray, first_beat: int, rng: np.random.Generator) -> list[float]:
    written = [_at(note.start, beats_s, first_beat) for note in line.notes]
    gaps = np.diff([*written, written[-1] + 1.0])
    before = np.diff([written[0] - 1.0, *written])
    spread = np.minimum(JITTER_SD_S, JITTER_SHARE_OF_GAP * np.minimum(gaps, before))
    jitter = np.clip(rng.normal(0, 1, len(written)), -2.2, 2.2) * spread
    return [round(float(time + shift), 4) for time, shift in zip(written, jitter, strict=True)]


def _ends(
    line: Line, beats_s: np.ndarray, first_beat: int, onsets: list[float], rng: np.random.Generator
) -> list[float]:
    """A note followed at once lasts to its follower; before a rest it is damped near its written end."""
    ends = []
    for index, note in enumerate(line.notes):
        written = _at(note.start + note.length, beats_s, first_beat)
        following = line.notes[index + 1] if index + 1 < len(line.notes) else None
        if following is not None and following.start <= note.start + note.length:
            lift = 0.0 if following.string == note.string else float(rng.uniform(0.0, 0.012))
            ends.append(round(onsets[index + 1] - lift, 4))
        else:
            end = written - 0.03 * (written - onsets[index]) + rng.normal(0, 0.008)
            ends.append(round(float(end), 4))
    return ends


def _play_note(
    line: Line, note: LineNote, before: LineNote | None, onset: float, end: float, rng: np.random.Generator
) -> PlayedNote:
    grid = np.unique(np.append(np.arange(onset, end, CURVE_STEP_S), end))
    semitones = np.full(len(grid), rng.normal(0, 0.025) if note.fret else 0.0)
    techniques: list[Technique] = []
    picked = True
    for technique in note.techniques:
        if technique.kind in SLURS:
            picked = False
            techniques.append(replace(technique, start_s=onset, end_s=onset))
        elif technique.kind == "slide" and before is not None:
            picked = bool(technique.picked)
            step = float(before.fret - note.fret)
            before_s = float(before.length) * 60.0 / (line.tempo_bpm * line.meter.tap)
            glide = (GLIDE_S + GLIDE_S_PER_FRET * abs(step)) * float(rng.uniform(*GLIDE_SPREAD))
            glide = min(glide, LONGEST_SHARE_GLIDING * before_s)
            times = np.arange(onset - glide, onset - 1e-9, CURVE_STEP_S)
            grid = np.concatenate([times, grid])
            semitones = np.concatenate([_glide(step, (onset - times) / glide), semitones])
            techniques.append(replace(technique, picked=picked, start_s=round(onset - glide, 4), end_s=onset))
        elif technique.kind == "vibrato":
            semitones, played = _vibrate(technique, grid, semitones, onset, end, note)
            techniques.append(played)
    bends, height = _bend_curve(note, grid, onset, end, rng)
    return PlayedNote(
        onset_s=onset,
        end_s=end,
        string=note.string,
        fret=note.fret,
        pitch_midi=line.instrument.open_midi(note.string) + note.fret,
        velocity=note.velocity,
        picked=picked,
        curve_times_s=_frozen(grid),
        curve_semitones=_frozen(semitones + height),
        techniques=tuple(techniques + bends),
    )


def _glide(step: float, left: np.ndarray) -> np.ndarray:
    """Pitch on the way: from `step` semitones off to 0, `left` being the share of the way still to go."""
    even = step * left
    return (1 - HALT_AT_FRETS) * even + HALT_AT_FRETS * np.round(even)


def _bend_curve(
    note: LineNote, grid: np.ndarray, onset: float, end: float, rng: np.random.Generator
) -> tuple[list[Technique], np.ndarray]:
    height = np.zeros(len(grid))
    length = end - onset
    played: list[Technique] = []
    level = 0.0
    released = any(technique.kind == "release" for technique in note.techniques)
    for technique in note.techniques:
        if technique.kind not in ("bend", "pre_bend", "release"):
            continue
        target = float(technique.semitones or 0.0)
        aim = target + float(rng.normal(0, 0.05)) if target else 0.0
        if technique.kind == "pre_bend":
            height += aim
            start = stop = onset
        else:
            rise = min(float(rng.uniform(*BEND_S)), 0.3 * length)
            share = rng.uniform(0.5, 0.65) if technique.kind == "release" else rng.uniform(0.08, 0.25)
            start = onset + share * length * (0.6 if released and technique.kind == "bend" else 1.0)
            stop = start + rise
            turn = np.clip((grid - start) / rise, 0, 1)
            height += (aim - level) * 0.5 * (1 - np.cos(np.pi * turn))
        played.append(replace(technique, start_s=round(start, 4), end_s=round(stop, 4)))
        level = aim
    return played, height


def _vibrate(
    technique: Technique, grid: np.ndarray, semitones: np.ndarray, onset: float, end: float, note: LineNote
) -> tuple[np.ndarray, Technique]:
    bent = any(other.kind in ("bend", "pre_bend") for other in note.techniques)
    length = end - onset
    start = onset + (max(0.45 * length, 0.25) if bent else min(0.3 * length, 0.25))
    rate, depth = technique.rate_hz or 5.0, technique.depth_semitones or 0.5
    swing = 0.5 * depth * (1 - np.cos(2 * np.pi * rate * (grid - start)))
    grown = np.clip((grid - start) / 0.15, 0, 1)
    moved = semitones + np.where(grid > start, (-1 if bent else 1) * swing * grown, 0.0)
    return moved, replace(technique, start_s=round(start, 4), end_s=end, rate_hz=rate, depth_semitones=depth)


def _leave_room_for_glides(notes: list[PlayedNote]) -> list[PlayedNote]:
    """End a note where the glide away from it begins."""
    done = list(notes)
    for index, note in enumerate(notes[1:], 1):
        start = float(note.curve_times_s[0])
        before = done[index - 1]
        if start < note.onset_s - 1e-6 and start < before.end_s:
            kept = before.curve_times_s <= start
            done[index - 1] = replace(
                before,
                end_s=round(start, 4),
                curve_times_s=_frozen(before.curve_times_s[kept]),
                curve_semitones=_frozen(before.curve_semitones[kept]),
            )
    return done


def _frozen(values: np.ndarray) -> np.ndarray:
    array = np.array(values, dtype=np.float64)
    array.flags.writeable = False
    return array
