"""Write the rhythm of a heard line: tempo, beat, bar, places and lengths of its notes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from transcriber.errors import UsageError
from transcriber.notation.clock import Clock, smooth_clock
from transcriber.notation.downbeat import first_downbeat
from transcriber.notation.lengths import written_length
from transcriber.notation.parameters import RhythmParameters, rhythm_parameters
from transcriber.notation.search import BeamSearch, Reading, Strata
from transcriber.notation.vocabulary import FloatArray, build_vocabulary
from transcriber.records.heard import Heard, HeardNote
from transcriber.records.problem import Problem
from transcriber.records.written import Meter, Written, WrittenNote

TEMPO_BOUNDS_BPM = (20.0, 400.0)
_DEFAULT_BPM = 100.0
_UNSURE_NATS = 3.0
_MOST_BEATS = 200_000
_SLURRED = ("hammer_on", "pull_off", "slide")
_NEIGHBOURS = 6  # notes to each side that an accent is measured against


@dataclass(frozen=True)
class _Line:
    """The notes that stand in the meter: index in the take, onset, velocity as a standard score."""

    index: list[int]
    onsets_s: FloatArray
    accents: FloatArray
    doubt: FloatArray


def write_rhythm(
    heard: Heard, tempo_bpm: float | None, meter: Meter, parameters: RhythmParameters | None = None
) -> Written:
    """Decide the written rhythm of a line played without a click.

    Parameters
    ----------
    heard : Heard
        Notes in order of onset. Notes that carry `grace` stand outside the meter.
    tempo_bpm : float or None
        Tapped beats a minute if the player told it; the take may be a little off it and drift.
    meter : Meter
    parameters : RhythmParameters, optional
        Those of ``models/rhythm.json`` unless given.

    Returns
    -------
    Written
        One note for each heard note, in the same order. Starts of notes with a length ascend strictly.
        A note of length 0 shares the start of the note it belongs to: a grace, or an onset for which the
        rhythm has no room.

    Raises
    ------
    UsageError
        If the tempo is not between 20 and 400 BPM.
    """
    low, high = TEMPO_BOUNDS_BPM
    if tempo_bpm is not None and not low <= tempo_bpm <= high:
        raise UsageError(
            f"tempo {tempo_bpm:g} BPM is not from {low:g} to {high:g}; give the beats you tap a minute"
        )
    parameters = parameters or rhythm_parameters()
    line = _line(heard.notes)
    if not line.index:
        return _without_line(heard.notes, tempo_bpm or _DEFAULT_BPM, meter)
    reading = read_line(line.onsets_s, line.accents, line.doubt, tempo_bpm, meter, parameters)
    kept = ~reading.extra
    clock = smooth_clock(reading.position[kept], line.onsets_s[kept], reading.period_s, parameters.timing)
    ticks = parameters.compound.ticks if meter.compound else parameters.simple.ticks
    starts, lost = _starts(reading, line.onsets_s, clock, ticks)
    lengths = _lengths(heard.notes, line, starts, lost, clock, meter, parameters)
    taps = max(meter.beats // meter.tap, 1)
    real = [k for k in range(len(starts)) if not lost[k]]
    shift = first_downbeat(
        [starts[k] for k in real], [lengths[k] for k in real], line.accents[real], taps, parameters.downbeat
    )
    starts = [start - shift for start in starts]
    certainty = _certainty(reading, line.onsets_s, clock, lost, tempo_bpm is not None)
    notes = _with_graces(heard.notes, line, starts, lengths, certainty, meter)
    first, beats = _beats(clock, shift, starts, lengths, meter)
    return Written(
        notes=notes,
        meter=meter,
        tempo_bpm=_tempo(clock, beats, meter),
        beats_s=beats,
        first_beat=first,
        swing=None if reading.swing is None else _swing_ratio(reading, line.onsets_s, clock),
        problems=_problems(reading, tempo_bpm, lost, line),
    )


def read_line(
    onsets_s: FloatArray,
    accents: FloatArray,
    doubt: FloatArray,
    tempo_bpm: float | None,
    meter: Meter,
    parameters: RhythmParameters,
) -> Reading:
    """Search the reading of a row of onsets; see `BeamSearch.run` for the arrays."""
    grammar = parameters.compound if meter.compound else parameters.simple
    vocabulary = build_vocabulary(grammar, parameters.pattern_weight, swing=not meter.compound)
    strata = _strata(tempo_bpm, meter, parameters)
    beam = parameters.search.beam_open if tempo_bpm is None else parameters.search.beam_given
    return BeamSearch(vocabulary, parameters.timing, parameters.search, strata, beam).run(
        onsets_s, accents, doubt
    )


def _strata(tempo_bpm: float | None, meter: Meter, parameters: RhythmParameters) -> Strata:
    prior = parameters.tempo
    if tempo_bpm is None:
        # Where the tapped note is not a quarter, the usual range moves with it.
        factor = 1.0 if meter.compound else meter.unit / 4.0
        count = int(np.ceil(np.log(prior.highest_bpm / prior.lowest_bpm) / np.log(prior.grid_ratio))) + 1
        tempi = np.geomspace(prior.lowest_bpm, prior.highest_bpm, count) * factor
        centre = prior.compound_median_bpm if meter.compound else prior.median_bpm * factor
        spread, bound = prior.log_sd, prior.given_bound
    else:
        tempi = tempo_bpm * np.exp(prior.given_sd * np.array([-1.0, 0.0, 1.0]))
        centre, spread, bound = tempo_bpm, prior.given_sd, prior.given_bound
    ratios = [np.nan] if meter.compound else [np.nan, *parameters.swing_ratios]
    tempo = np.repeat(tempi, len(ratios))
    swing = np.tile(np.array(ratios), len(tempi))
    log_prior = -0.5 * (np.log(tempo / centre) / spread) ** 2
    log_prior = log_prior - np.where(np.isnan(swing), 0.0, parameters.swing_cost)
    return Strata(60.0 / tempo, swing, log_prior, bound)


def _line(notes: tuple[HeardNote, ...]) -> _Line:
    index = [i for i, note in enumerate(notes) if not note.has("grace")]
    onsets = np.maximum.accumulate(np.array([notes[i].onset_s for i in index], dtype=np.float64))
    velocity = np.array([float(notes[i].velocity) for i in index])
    picked = np.array([not notes[i].has(*_SLURRED) for i in index], dtype=bool)
    sure = np.clip(np.array([notes[i].onset_confidence for i in index]), 0.05, 0.95)
    # Half a chance says nothing; a doubtful onset is left out more readily, a sure one less so.
    doubt = np.log((1.0 - sure) / 0.5)
    return _Line(index, onsets, _accents(velocity, picked), np.minimum(doubt, 1.0))


def _accents(velocity: FloatArray, picked: npt.NDArray[np.bool_]) -> FloatArray:
    """Velocity of picked notes against their neighbours', as a standard score clipped to 2.

    Neighbours, so that swells don't count; a slurred note is soft wherever it stands and scores 0.
    """
    n = len(velocity)
    total = np.concatenate([[0.0], np.cumsum(velocity * picked)])
    count = np.concatenate([[0], np.cumsum(picked)])
    low = np.maximum(np.arange(n) - _NEIGHBOURS, 0)
    high = np.minimum(np.arange(n) + _NEIGHBOURS + 1, n)
    apart = (velocity - (total[high] - total[low]) / np.maximum(count[high] - count[low], 1)) * picked
    spread = float(np.sqrt(np.mean(apart[picked] ** 2))) if picked.any() else 0.0
    return np.asarray(np.clip(apart / max(spread, 3.0), -2.0, 2.0))


def _starts(
    reading: Reading, onsets_s: FloatArray, clock: Clock, ticks: int
) -> tuple[list[Fraction], npt.NDArray[np.bool_]]:
    """Exact starts in tapped beats; an onset left out gets a free tick between its neighbours, or is lost."""
    at = (reading.beat * ticks + reading.tick).astype(np.int64)
    lost = reading.extra.copy()
    allowed = np.array([t for t in range(ticks) if t % (ticks // 8 or 1) == 0 or t % (ticks // 6) == 0])
    kept = np.flatnonzero(~reading.extra)
    for k in np.flatnonzero(reading.extra):
        after = kept[kept > k]
        upper = int(at[after[0]]) if len(after) else int(at[k]) + 2 * ticks
        wanted = float(clock.where(onsets_s[k : k + 1])[0]) * ticks
        lower = int(at[k - 1])
        base = int(np.floor(wanted / ticks)) * ticks
        choices = np.concatenate([allowed + base - ticks, allowed + base, allowed + base + ticks])
        choices = choices[(choices > lower) & (choices < upper)]
        if len(choices):
            best = int(choices[np.argmin(np.abs(choices - wanted))])
            if abs(best - wanted) < ticks / 4:
                at[k], lost[k] = best, False
                continue
        # Written as a grace it stands before the note that follows it, as it was played.
        at[k] = upper if len(after) else lower
    return [Fraction(int(tick), ticks) for tick in at], lost


def _lengths(
    notes: tuple[HeardNote, ...],
    line: _Line,
    starts: list[Fraction],
    lost: npt.NDArray[np.bool_],
    clock: Clock,
    meter: Meter,
    parameters: RhythmParameters,
) -> list[Fraction]:
    lengths = [Fraction(0)] * len(starts)
    real = [k for k in range(len(starts)) if not lost[k]]
    longest = Fraction(parameters.lengths.longest_bars).limit_denominator(8) * max(
        meter.beats // meter.tap, 1
    )
    for k, after in zip(real, [*real[1:], None], strict=True):
        note = notes[line.index[k]]
        onset = float(line.onsets_s[k])
        end = max(note.end_s, onset + 1e-3)
        gap = None if after is None else max(float(line.onsets_s[after]) - end, 0.0)
        if after is not None:
            end = min(end, max(float(line.onsets_s[after]), onset + 1e-3))
        limit = longest if after is None else starts[after] - starts[k]
        lengths[k] = written_length(
            starts[k], end - onset, gap, limit, clock, parameters.lengths, staccato=note.has("staccato")
        )
    return lengths


def _certainty(
    reading: Reading, onsets_s: FloatArray, clock: Clock, lost: npt.NDArray[np.bool_], tempo_given: bool
) -> FloatArray:
    """Posterior of each place, less for a note played off its place and for a doubtful tempo."""
    late = np.abs(onsets_s - clock.at(reading.position))
    fit = np.exp(-0.5 * (np.minimum(late, 0.2) / 0.04) ** 2)
    certainty = reading.certainty * (0.4 + 0.6 * fit)
    certainty = np.where(reading.extra, 0.2, certainty)
    if not tempo_given:
        certainty = certainty / (1.0 + np.exp(-0.5 * (reading.score - reading.runner_up)))
    return np.clip(np.where(lost, 0.1, certainty), 0.01, 0.99)


def _with_graces(
    notes: tuple[HeardNote, ...],
    line: _Line,
    starts: list[Fraction],
    lengths: list[Fraction],
    certainty: FloatArray,
    meter: Meter,
) -> tuple[WrittenNote, ...]:
    """Written notes in denominator beats for the whole take; a grace starts where the next line note does."""
    written: list[WrittenNote | None] = [None] * len(notes)
    for k, i in enumerate(line.index):
        written[i] = WrittenNote(starts[k] * meter.tap, lengths[k] * meter.tap, round(float(certainty[k]), 4))
    following = next(note for note in reversed(written) if note is not None)
    result: list[WrittenNote] = []
    for note in reversed(written):
        if note is not None:
            following = note
            result.append(note)
        else:
            result.append(WrittenNote(following.start, Fraction(0), following.confidence))
    return tuple(reversed(result))


def _beats(
    clock: Clock, shift: int, starts: list[Fraction], lengths: list[Fraction], meter: Meter
) -> tuple[int, tuple[float, ...]]:
    """Number and times of the denominator beats from before the first note to after the last."""
    first = math.floor(starts[0]) * meter.tap
    last = (
        math.ceil(max(start + length for start, length in zip(starts, lengths, strict=True))) * meter.tap + 1
    )
    numbers = np.arange(first, min(last, first + _MOST_BEATS) + 1)
    times = clock.at(numbers / meter.tap + shift)
    return first, tuple(round(float(time), 6) for time in times)


def _tempo(clock: Clock, beats: tuple[float, ...], meter: Meter) -> float:
    """Median tempo in tapped beats a minute over the beats that hold notes."""
    times = np.array(beats)[:: meter.tap]
    inside = (times >= clock.time_s[0] - 1e-6) & (times <= clock.time_s[-1] + 1e-6)
    periods = np.diff(times[inside]) if inside.sum() > 2 else np.diff(times)
    return round(60.0 / float(np.median(periods)), 2)


def _swing_ratio(reading: Reading, onsets_s: FloatArray, clock: Clock) -> float:
    """Measured long:short ratio: where the swung notes fall between the beats, on the median."""
    assert reading.swing is not None
    knee = reading.swing / (1.0 + reading.swing)
    swung = np.isclose(reading.position % 1.0, knee, atol=1e-6) & ~reading.extra
    if swung.sum() < 4:
        return reading.swing
    share = float(np.median(knee + clock.where(onsets_s[swung]) - reading.position[swung]))
    share = min(max(share, 0.52), 0.8)
    return round(share / (1.0 - share), 2)


def _problems(
    reading: Reading, tempo_bpm: float | None, lost: npt.NDArray[np.bool_], line: _Line
) -> tuple[Problem, ...]:
    problems = []
    if tempo_bpm is None and reading.score - reading.runner_up < _UNSURE_NATS:
        problems.append(
            Problem(
                "tempo_unsure",
                "another tempo explains the take about as well; give the tempo if it looks wrong",
            )
        )
    for k in np.flatnonzero(lost):
        at = round(float(line.onsets_s[k]), 3)
        problems.append(
            Problem(
                "onset_outside_rhythm",
                f"the onset at {at:.2f} s fits no place in the rhythm; check it",
                at,
                at,
            )
        )
    return tuple(problems)


def _without_line(notes: tuple[HeardNote, ...], tempo_bpm: float, meter: Meter) -> Written:
    """Nothing stands in the meter: one bar at the tempo told, graces at its start."""
    begin = notes[0].onset_s if notes else 0.0
    period = 60.0 / tempo_bpm / meter.tap
    return Written(
        notes=tuple(WrittenNote(Fraction(0), Fraction(0), 0.1) for _ in notes),
        meter=meter,
        tempo_bpm=round(tempo_bpm, 2),
        beats_s=tuple(round(begin + i * period, 6) for i in range(meter.beats + 1)),
        first_beat=0,
        problems=(Problem("no_rhythm", "no note stands in the meter; nothing to write a rhythm for"),),
    )
