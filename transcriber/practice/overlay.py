"""An attempt laid over its line: the student's time turned into the line's, and what was played there.

The student's own tempo is taken out and nothing else: a note that was early or late stands so many beats
before or after its place. A retried passage and a halt are left out of the picture.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from transcriber.draft import Draft
from transcriber.practice.report import CheckReport, PlayedPitch
from transcriber.records.heard import HeardNote

# Where the attempt takes so much longer than the line, and by so many seconds, it halted or tried again.
_HALT_SHARE, _HALT_S = 1.5, 0.6
_STEP_DECIMALS, _TIME_DECIMALS = 4, 3
_SAME_ONSET_S = 0.05


@dataclass(frozen=True)
class Knots:
    """Moments of an attempt and of its line that belong together.

    Attributes
    ----------
    attempt_s, line_s : tuple of float
        Both strictly ascending, of the same length.
    ratio : float
        Seconds of the line to a second of the attempt: before the first moment, after the last, up to a halt.
    """

    attempt_s: tuple[float, ...]
    line_s: tuple[float, ...]
    ratio: float

    def pairs(self) -> Iterator[tuple[float, float]]:
        """Give the moments one by one: of the attempt, and of the line."""
        return zip(self.attempt_s, self.line_s, strict=True)

    def to_line(self, time_s: float) -> float | None:
        """Turn a time of the attempt into one of the line; None where it halted or tried again."""
        after = bisect_left(self.attempt_s, time_s + 1e-9)
        if after == 0:
            return self.line_s[0] - (self.attempt_s[0] - time_s) * self.ratio
        begin, start = self.attempt_s[after - 1], self.line_s[after - 1]
        if after == len(self.attempt_s):
            return start + (time_s - begin) * self.ratio
        held, written = self.attempt_s[after] - begin, self.line_s[after] - start
        if held * self.ratio <= _HALT_SHARE * written or held * self.ratio - written <= _HALT_S:
            return start + (time_s - begin) * written / held
        at = start + (time_s - begin) * self.ratio
        return at if at < self.line_s[after] else None


@dataclass(frozen=True)
class Trace:
    """What was played of one note, on the line's time: pitch as MIDI numbers at the line's own height."""

    times_s: tuple[float, ...]
    midi: tuple[float | None, ...]


def knots_of(draft: Draft, report: CheckReport) -> Knots | None:
    """Tie an attempt to its line; None where not a single note was found in it.

    Where a note was early or late, the moment at which it was due is tied.
    """
    pairs = []
    for note in report.notes:
        wanted = draft.note(note.id)
        if wanted is not None and note.attempt_onset_s is not None:
            pairs.append((wanted.onset_s, note.attempt_onset_s - (note.timing_ms or 0.0) / 1000.0))
    pairs.sort()
    kept = _ascending(pairs)
    if not kept:
        return None
    ratio = report.tempo_ratio or 1.0
    return Knots(
        tuple(round(attempt, _STEP_DECIMALS) for _, attempt in kept),
        tuple(line for line, _ in kept),
        ratio,
    )


def played_pitches(notes: Sequence[HeardNote]) -> tuple[PlayedPitch, ...]:
    """Keep what is needed to draw an attempt: the pitch of each note heard, to a millisecond and a cent."""
    return tuple(
        PlayedPitch(
            round(note.onset_s, _STEP_DECIMALS),
            note.pitch_midi,
            tuple(round(float(time_s), _TIME_DECIMALS) for time_s in note.contour_times_s),
            tuple(round(float(cents)) if np.isfinite(cents) else None for cents in note.contour_cents),
        )
        for note in notes
    )


def traces_of(
    draft: Draft, report: CheckReport, pitches: Sequence[PlayedPitch], knots: Knots
) -> tuple[Trace, ...]:
    """Lay the pitch of an attempt over the line, by the guitar's own tuning.

    Parameters
    ----------
    draft : Draft
    report : CheckReport
        What became of the notes: the attempt's transposition is taken off, and a note that the second look
        at the sound found played as written stands in its octave, whichever one was heard at first.
    pitches : sequence of PlayedPitch
        The attempt as listening heard it.
    knots : Knots
    """
    traces = []
    for note in pitches:
        lower = report.transposed + _octaves_off(draft, report, note)
        times: list[float] = []
        midi: list[float | None] = []
        for time_s, cents in zip(note.times_s, note.cents, strict=True):
            at = knots.to_line(time_s)
            if at is None or (times and at <= times[-1]):
                continue
            times.append(round(at, _STEP_DECIMALS))
            midi.append(None if cents is None else round(note.pitch_midi - lower + cents / 100.0, 2))
        if times:
            traces.append(Trace(tuple(times), tuple(midi)))
    return tuple(traces)


def _octaves_off(draft: Draft, report: CheckReport, note: PlayedPitch) -> int:
    """Semitones, in whole octaves, by which a note that was played as written was heard too high."""
    for one in report.notes:
        wanted = draft.note(one.id)
        onset_s = one.attempt_onset_s
        if one.verdict != "played" or onset_s is None or wanted is None or wanted.pitch_midi is None:
            continue
        off = note.pitch_midi - report.transposed - wanted.pitch_midi
        if abs(onset_s - note.onset_s) <= _SAME_ONSET_S and off % 12 == 0:
            return off
    return 0


def _ascending(pairs: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The most pairs, in order of the line, whose times in the attempt ascend as well."""
    last: list[int] = []
    times: list[float] = []
    before = [-1] * len(pairs)
    for index, (line, attempt) in enumerate(pairs):
        if index and line <= pairs[index - 1][0]:
            continue
        at = bisect_left(times, attempt)
        before[index] = last[at - 1] if at else -1
        if at == len(times):
            times.append(attempt)
            last.append(index)
        else:
            times[at], last[at] = attempt, index
    kept: list[tuple[float, float]] = []
    index = last[-1] if last else -1
    while index >= 0:
        kept.append(pairs[index])
        index = before[index]
    return kept[::-1]
