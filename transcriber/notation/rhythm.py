"""Write the rhythm of a heard line: tempo, beat, bar, places and lengths of its notes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from transcriber.errors import UsageError
from transcriber.notation.bars import RESOLUTION
from transcriber.notation.clock import Clock, smooth_clock
from transcriber.notation.decide import Decision, decide
from transcriber.notation.ending import steady
from transcriber.notation.guide import Guide, find_guide
from transcriber.notation.hypotheses import Reading
from transcriber.notation.lengths import BeatGrids, written_length
from transcriber.notation.line import Line, line_of
from transcriber.notation.parameters import RhythmParameters, rhythm_parameters
from transcriber.notation.reading import read_line
from transcriber.notation.vocabulary import FloatArray, first_places
from transcriber.records.heard import Heard, HeardNote
from transcriber.records.problem import Problem
from transcriber.records.told import Told
from transcriber.records.written import COMMON_TIME, Meter, Written, WrittenNote

TEMPO_BOUNDS_BPM = (20.0, 400.0)
_DEFAULT_BPM = 100.0
_MOST_BEATS = 200_000


def write_rhythm(
    heard: Heard, told: Told | None = None, parameters: RhythmParameters | None = None
) -> Written:
    """Decide the written rhythm of a line, played with or without a click.

    Parameters
    ----------
    heard : Heard
        Notes in order of onset. Notes that carry `grace` stand outside the meter.
    told : Told, optional
        What the player says; the take may be a little off a tempo told, and drift.
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
        If a tempo is not between 20 and 400 BPM, or a pickup not shorter than a bar or none that is written.
    """
    told = told or Told()
    parameters = parameters or rhythm_parameters()
    _check(told, parameters)
    line = line_of(heard.notes)
    if not line.index:
        return _without_line(heard.notes, told)
    guide, guide_problems = find_guide(
        told, heard.clicks_s, float(line.onsets_s[0]), float(line.onsets_s[-1])
    )
    decision = decide(line, told, guide, parameters)
    clock = _clock(decision.reading, line, parameters)
    if told.downbeat_s is not None:
        decision = _held_to_downbeat(decision, told, guide, line, clock, parameters)
        clock = _clock(decision.reading, line, parameters)
    reading, meter = decision.reading, decision.meter
    starts, lost = _starts(reading, line.onsets_s, clock, parameters.grammar_of(meter.compound).ticks)
    lengths = _lengths(heard.notes, line, starts, lost, clock, meter, parameters)
    starts = [start - decision.shift for start in starts]
    known = told.tempo_bpm is not None or guide is not None
    certainty = _certainty(reading, line.onsets_s, clock, lost, known)
    if guide is None:
        # Counted wrong, every note is wrong, however well it fits its place.
        certainty = np.clip(certainty * decision.count_confidence, 0.01, 0.99)
    beat_clock = guide.clock(parameters.timing) if guide is not None and guide.through else clock
    first, beats = _beats(beat_clock, decision.shift, starts, lengths, meter)
    return Written(
        notes=_with_graces(heard.notes, line, starts, lengths, certainty, meter),
        meter=meter,
        tempo_bpm=_tempo(clock, beats, meter),
        beats_s=beats,
        first_beat=first,
        swing=None if reading.swing is None else _swing_ratio(reading, line.onsets_s, clock),
        problems=(*guide_problems, *_problems(decision, lost, line, told, parameters)),
        downbeat_confidence=round(decision.downbeat_confidence, 3),
    )


def _check(told: Told, parameters: RhythmParameters) -> None:
    low, high = TEMPO_BOUNDS_BPM
    for tempo in told.tempo_bpm or ():
        if not low <= tempo <= high:
            raise UsageError(
                f"tempo {tempo:g} BPM is not from {low:g} to {high:g}; give the beats you tap a minute"
            )
    beats = (told.meter or COMMON_TIME).beats
    if told.pickup is not None and not 0 <= told.pickup < beats:
        raise UsageError(
            f"pickup {told.pickup} is not from 0 to less than the {beats} beats of a bar; "
            "give the beats from the first note to bar 1"
        )
    if told.pickup is not None:
        _check_place(told.pickup, beats, told.meter, parameters)


def _check_place(pickup: Fraction, beats: int, meter: Meter | None, parameters: RhythmParameters) -> None:
    """Refuse a pickup that begins where no rhythm of the meter has a note: the search would pass it over."""
    known = (False, True) if meter is None else (meter.compound,)
    places = {
        place
        for compound in known
        for place in _pickups(beats, 3 if compound else 1, first_places(parameters.grammar_of(compound)))
    }
    if pickup not in places:
        nearest = min(places, key=lambda place: (abs(place - pickup), place.denominator, place))
        raise UsageError(
            f"pickup {pickup} begins at a place in the beat that no rhythm here has; "
            f"the nearest that works is {nearest}"
        )


def _pickups(beats: int, tap: int, places: Sequence[Fraction]) -> set[Fraction]:
    """Pickups within a bar whose first note stands at one of the places in a tapped beat."""
    taps = range(1, -(-beats // tap) + 1)
    every = {(count - place) * tap for count in taps for place in places}
    return {Fraction(0), *(pickup for pickup in every if pickup < beats)}


def _clock(reading: Reading, line: Line, parameters: RhythmParameters) -> Clock:
    kept = ~reading.extra
    timing = parameters.timing if reading.slowing else steady(parameters.timing)
    return smooth_clock(reading.position[kept], line.onsets_s[kept], reading.period_s, timing)


def _held_to_downbeat(
    decision: Decision,
    told: Told,
    guide: Guide | None,
    line: Line,
    clock: Clock,
    parameters: RhythmParameters,
) -> Decision:
    """Begin a bar where the player says one begins, if need be half a beat from where beats were read."""
    assert told.downbeat_s is not None
    meter, reading = decision.meter, decision.reading
    place = float(clock.where(np.array([told.downbeat_s]))[0])
    if abs(place - round(place)) > 0.25 and guide is None and not meter.compound:
        ticks = parameters.simple.ticks
        tick = (int(reading.tick[0]) + ticks // 2) % ticks * (RESOLUTION // ticks)
        tempo = 60.0 / reading.period_s
        again = replace(told, tempo_bpm=(tempo, tempo), meter=meter)
        reading = read_line(line, again, guide, parameters, False, tick, reading.free_notes)
        place = float(_clock(reading, line, parameters).where(np.array([told.downbeat_s]))[0])
    taps = max(meter.beats // meter.tap, 1)
    shift = round(place) % taps
    # No more than a pickup stands before bar 1.
    shift += (int(reading.beat[0]) - shift + taps - 1) // taps * taps
    return replace(decision, reading=reading, shift=shift, downbeat_confidence=0.99)


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
    line: Line,
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
    grids = BeatGrids([starts[k] for k in real], meter.compound)
    for k, after in zip(real, [*real[1:], None], strict=True):
        note = notes[line.index[k]]
        onset = float(line.onsets_s[k])
        end = max(note.end_s, onset + 1e-3)
        gap = None if after is None else max(float(line.onsets_s[after]) - end, 0.0)
        if after is not None:
            end = min(end, max(float(line.onsets_s[after]), onset + 1e-3))
        limit = longest if after is None else starts[after] - starts[k]
        lengths[k] = written_length(
            starts[k],
            end - onset,
            gap,
            limit,
            clock,
            grids,
            parameters.lengths,
            staccato=note.has("staccato"),
        )
    return lengths


def _certainty(
    reading: Reading, onsets_s: FloatArray, clock: Clock, lost: npt.NDArray[np.bool_], tempo_known: bool
) -> FloatArray:
    """Posterior of each place, less for a note played off its place and for a doubtful tempo."""
    late = np.abs(onsets_s - clock.at(reading.position))
    fit = np.exp(-0.5 * (np.minimum(late, 0.2) / 0.04) ** 2)
    certainty = reading.certainty * (0.4 + 0.6 * fit)
    certainty = np.where(reading.extra, 0.2, certainty)
    if not tempo_known:
        certainty = certainty / (1.0 + np.exp(-0.5 * (reading.score - reading.runner_up)))
    return np.clip(np.where(lost, 0.1, certainty), 0.01, 0.99)


def _with_graces(
    notes: tuple[HeardNote, ...],
    line: Line,
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
    decision: Decision, lost: npt.NDArray[np.bool_], line: Line, told: Told, parameters: RhythmParameters
) -> tuple[Problem, ...]:
    problems = []
    if decision.other_tempo_bpm is not None:
        other = f"{decision.other_tempo_bpm:.0f}"
        problems.append(
            Problem(
                "tempo_unsure",
                f"{other} beats a minute explain the take about as well; if they are right, "
                f"write it anew with --tempo {other}",
            )
        )
    if decision.downbeat_confidence < parameters.bars.sure_from:
        advice = "if it is, give --pickup, or --count-in with clicks before the line"
        if told.pickup:
            advice = "the pickup told was played freely; if it is, write it anew with --downbeat"
        problems.append(
            Problem(
                "downbeat_unsure",
                f"beat 1 may be elsewhere ({decision.downbeat_confidence:.0%} sure that it is where it is "
                f"written); {advice}",
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


def _without_line(notes: tuple[HeardNote, ...], told: Told) -> Written:
    """Nothing stands in the meter: one bar at the tempo told, graces at its start."""
    tempo_bpm = told.tempo_bpm[0] if told.tempo_bpm else _DEFAULT_BPM
    meter = told.meter or COMMON_TIME
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
