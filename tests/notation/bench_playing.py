"""Bench lines as heard: straight from their times, or through sound and listening."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tests.accuracy.playing import Timed, play
from tests.notation.bench_lines import BENCH, BenchLine
from tests.notation.rhythm_lines import Conditions, Played, Times, play_times
from transcriber.records.heard import Heard, HeardNote, PitchTrack
from transcriber.records.line import Performance

_EMPTY = np.zeros(0)
_NO_TRACK = PitchTrack(*[_EMPTY] * 5)
_SLURS = ("hammer_on", "pull_off", "slide")


@dataclass(frozen=True)
class _Timing:
    times: Times
    onsets: list[float]
    ends: list[float]


def play_bench(bench: BenchLine, how: Conditions | None = None) -> Played:
    """Play a line and take its notes as heard: onsets, ends, pitches, velocities, slurs."""
    timing = _timing(bench, how or BENCH[bench.condition].how)
    notes = []
    for note, onset, end in zip(bench.line.notes, timing.onsets, timing.ends, strict=True):
        slurs = tuple(one for one in note.techniques if one.kind in _SLURS and not one.picked)
        pitch = bench.line.instrument.open_midi(note.string) + note.fret
        notes.append(HeardNote(onset, end, pitch, note.velocity, slurs, _EMPTY, _EMPTY, 1.0, 0.8, 1.0))
    heard = Heard(tuple(notes), 440.0, _NO_TRACK, (), timing.times.clicks_s)
    return Played(heard, tuple(range(len(notes))), timing.times.tempo_bpm)


def perform_bench(bench: BenchLine, how: Conditions | None = None) -> tuple[Performance, Times]:
    """Play a line for the splicer, at the same times as `play_bench`."""
    timing = _timing(bench, how or BENCH[bench.condition].how)
    first = int(np.ceil(timing.times.grid[0]))
    numbers = np.arange(first, int(timing.times.grid[-1]) + 1)
    beats = np.interp(numbers, timing.times.grid, timing.times.clock_s)
    timed = Timed(timing.onsets, timing.ends, beats, first)
    return play(bench.line, bench.seed, timed), timing.times


def _timing(bench: BenchLine, how: Conditions) -> _Timing:
    rng = np.random.default_rng([bench.seed, 31])
    times = play_times(bench.rhythm, how, rng)
    onsets = _ascending(times.onsets_s)
    notes = bench.line.notes
    ends = []
    for index, end in enumerate(times.ends_s):
        joined = index + 1 < len(notes) and notes[index + 1].start <= notes[index].start + notes[index].length
        # One hand plays the line: a note stops at the latest where the next begins.
        last = onsets[index + 1] if index + 1 < len(notes) else float(end)
        ends.append(round(min(float(end), last) if not joined else _joined_end(float(end), last), 4))
    return _Timing(times, [round(onset, 4) for onset in onsets], ends)


def _joined_end(end: float, following: float) -> float:
    return min(max(end, following - 0.03), following)


def _ascending(onsets: Sequence[float] | np.ndarray) -> list[float]:
    found: list[float] = []
    for onset in onsets:
        found.append(max(float(onset), found[-1] + 0.02) if found else float(onset))
    return found


def without_clicks(played: Played) -> Played:
    """The same take with no click heard."""
    return replace(played, heard=replace(played.heard, clicks_s=()))
