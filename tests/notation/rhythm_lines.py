"""Rhythms of lead lines as written by hand, own compositions; and a player who is only human.

A figure is a letter for the length (w h q e s t: whole to thirty-second), a dot, ``3`` for a triplet of
that length (e3 eighth triplet, s3 sixteenth triplet), ``5`` for a quintuplet (s5: five in a quarter); ``r``
before it is a rest, ``+`` ties figures, ``*n`` repeats.
Bars are set apart by ``|`` for the eye. `pickup` is how many denominator beats the text begins before bar 1.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, fields, replace
from fractions import Fraction

import numpy as np

from transcriber.records.heard import Heard, HeardNote, PitchTrack
from transcriber.records.written import Meter

_QUARTERS = {"w": 4, "h": 2, "q": 1, "e": Fraction(1, 2), "s": Fraction(1, 4), "t": Fraction(1, 8)}
_FIGURE = re.compile(r"([whqest])(\.?)([35]?)")
_TUPLETS = {"": Fraction(1), "3": Fraction(2, 3), "5": Fraction(4, 5)}
_EMPTY = np.zeros(0)


@dataclass(frozen=True)
class RhythmLine:
    """A written rhythm: starts and lengths in denominator beats."""

    title: str
    tempo_bpm: float
    meter: Meter
    starts: tuple[Fraction, ...]
    lengths: tuple[Fraction, ...]
    swing: float | None = None


@dataclass(frozen=True)
class Conditions:
    """How a line is played and heard: spreads in seconds and ratios, shares 0 to 1.

    `rubato` is how much slower the last two taps get, `free_start` how much slower all before bar 1 is,
    `behind_s` how late every note is, `count_in` how many clicks lead to bar 1.
    """

    jitter_s: float = 0.008
    drift: float = 0.03
    missed: float = 0.0
    extra: float = 0.0
    articulation: tuple[float, float] = (0.85, 1.0)
    off_tempo: float = 0.02
    rubato: float = 1.0
    free_start: float = 1.0
    behind_s: float = 0.0
    count_in: int = 0


@dataclass(frozen=True)
class Played:
    """What was heard, and for each heard note the index of the written note (-1 for an extra onset)."""

    heard: Heard
    origin: tuple[int, ...]
    tempo_bpm: float


@dataclass(frozen=True)
class Times:
    """When notes begin and stop sounding, when the clicks come, the tempo, and the beat's clock.

    `clock_s` holds the times of the denominator beats `grid`.
    """

    onsets_s: np.ndarray
    ends_s: np.ndarray
    clicks_s: tuple[float, ...]
    tempo_bpm: float
    grid: np.ndarray
    clock_s: np.ndarray


# title, tapped tempo, meter, pickup in denominator beats, swing, text
_TEXT = (
    ("Blues-rock, pickup of two eighths", 92, "4/4", "1", None,
     "e e | q. e e s s e e | e e+q e q re | re e s s s s q e e | s3 s3 s3 s s q+e e q | h. rq"),
    ("Sextuplet run into sixteenths", 76, "4/4", "0", None,
     "s3*6 s*4 q q | s3*6 s*4 e e q | q+e e e e e e | s3*3 s s s3*3 e h | w"),
    ("Funk, off the one", 104, "4/4", "0", None,
     "s s rs s re s s e e rs s e | s rs s s re e s s re rs s s s | e rs s re s s e rs s q "
     "| s s s s e rs s q rq"),
    ("Funk with anticipations", 98, "4/4", "1/2", None,
     "s s | e. s rs s e e rs s+e s s | e. s rs s e+q re s s | e s s rs s e e. s e e | q rq h"),
    ("Slow ballad", 64, "4/4", "1", None,
     "e e | q. e+q e e | q. s s h | e e e s s q. e | h rq e e | q+e e s s e q | h. rq"),
    ("Ballad, held bends over the bar", 70, "4/4", "3/2", None,
     "e e e | h+e e e e | q e e h | rq e e e e q | e e e e h | s s s s e e q q | w"),
    ("Folk tune in eighths", 116, "4/4", "1/2", None,
     "e | e e e e q e e | e e e e q. e | e e q e e e e | q q h"),
    ("Folk waltz", 126, "3/4", "1", None,
     "q | h q | q e e q | h q | q q e e | h. | h q | e e q q | h. | h"),
    ("Waltz lead with triplets", 88, "3/4", "0", None,
     "q e3 e3 e3 q | h e e | e3 e3 e3 q q | h. | q s s s s q | e e q e e | h."),
    ("Jig", 108, "6/8", "1", None,
     "e | e e e e e e | q e q e | e e e e s s e | q. q e | e e e q e | e s s e q. | q. q"),
    ("Slow blues in twelve", 56, "12/8", "2", None,
     "e e | q e q e e e e q. | rq e e e e q. q e | e e e s s s s s s q. q e | q. q. h."),
    ("Twelve-eight with sixteenths", 62, "12/8", "0", None,
     "q e s s s s s s q. e e e | q. rq e s s e e q e | s s s s s s e e e q e q. | q.+q. q e q."),
    ("Six-eight ballad", 50, "6/8", "0", None,
     "q. e e e | q e q. | s s s s s s q e | q.+q. | e e e q s s | q. q."),
    ("Shuffle", 120, "4/4", "0", 2.0,
     "e e e e q e e | q. e e e q | e e e e e e q | rq e e e e q | h e e e e | e e q h"),
    ("Medium swing line", 144, "4/4", "1/2", 1.8,
     "e | e e e e e e e e | q. e rq e e | e e e e e3 e3 e3 q | e e q re e e e | e e e e h"),
    ("Slow shuffle, late answer", 96, "4/4", "3/2", 2.2,
     "e e e | q. e e e q | rq re e e e e e | q e e q. e | re e e e e e e e | w"),
    ("Rock riff, sixteenth pickup", 112, "4/4", "3/4", None,
     "s s s | q e s s e e q | e. s e e q e s s | s s s s e e e. s q | re e e e q q | h rh"),
    ("Straight eighth rock", 138, "4/4", "0", None,
     "e*8 | q e e q q | e e e e+q e e | h rq e e | e*8 | q. e h"),
    ("Triplet blues", 84, "4/4", "1", None,
     "e3 e3 e3 | q e3 e3 e3 q e3 e3 e3 | h re e e3 e3 e3 | e e q e3 e3 e3 e3 e3 e3 | h. rq"),
    ("Triplets giving way", 96, "4/4", "0", None,
     "e3*3 e3*3 e e q | s s s s e3*3 q q | e e e3*3 s s s s q | h rq e e | e3*3 q h"),
    ("Half-beat triplets", 88, "4/4", "1/2", None,
     "s3 s3 s3 | e s3 s3 s3 e s3 s3 s3 q e e | s s s3 s3 s3 s s e q re s3 s3 s3 | e e q h | w"),
    ("Busy sixteenths", 90, "4/4", "0", None,
     "s*16 | s*8 q q | e s s s s e s*4 q | s*4 e. s e s s q | h rh"),
    ("Sixteenths, syncopated", 94, "4/4", "1/4", None,
     "s | e. s+e s s rs s e q | s e s s e s+s s e rq | e s s+s s e e. s e e | h"),
    ("Dotted figures", 108, "4/4", "0", None,
     "e. s e. s q q | e. s s e. q q | e e. s e e. s q | h e. s q | w"),
    ("Long rests between phrases", 100, "4/4", "0", None,
     "e e q h | rh rh | e e q e e q | rh rh | rq e e e e q | h rh"),
    ("Call and answer", 118, "4/4", "3/2", None,
     "e e e | q q rh | rh re e e e | q q rh | rh re e e e | q e e q. e | h. rq"),
    ("Hard-rock gallop", 126, "4/4", "0", None,
     "e s s e s s q q | e s s e s s e e q | e s s e s s s s e q | q q h"),
    ("Country run", 110, "4/4", "1/2", None,
     "s s | e s s e e s s e q | e e s s s s e e q | s s e s s e e e s s s s | q e e h"),
    ("Reggae lead", 78, "4/4", "0", None,
     "re e e e re e q | re s s e e h | re e e3*3 q re e | e e q+e e e e | h rh"),
    ("Soul ballad in six", 54, "6/8", "2", None,
     "e e | q. q e | e e e q s s | q. rq e | s s e e q e | q.+q e | q."),
    ("Fast waltz line", 160, "3/4", "0", None,
     "e e e e e e | q e e q | h q | e e e e q | h. | rq e e e e | h."),
    ("Quarter-note melody", 132, "4/4", "1", None,
     "q | q q q e e | h q q | q q e e q | h. q | q. e q q | h. rq"),
    ("Laid-back halves", 84, "4/4", "2", None,
     "q e e | h q e e | h. e e | q q h | q e e q q | w"),
    ("Thirty-second turn", 68, "4/4", "0", None,
     "e t t s q e e q | s s t t t t e e h | e e s s t t s q. e | w"),
    ("Pickup of three sixteenths over triplets", 82, "4/4", "3/4", None,
     "s s s | q s3*6 e e q | e s s s3*6 q re s s | q+e s s e3*3 q | h."),
    ("Push on four-and", 122, "4/4", "1/2", None,
     "e+q. e q e e+q. e q e e+q e e e e e e+h q e e | w"),
    ("Eighths with offbeat entry", 106, "4/4", "0", None,
     "re e e e e e e e | q re e e e q | re e e e+q e e | q. e h | rh"),
    ("Quarter triplets", 100, "4/4", "0", None,
     "q3 q3 q3 h | q q e e q | q3 q3 q3 q q | e e e e h | w"),
    ("Twelve-eight fill", 66, "12/8", "1", None,
     "e | q. q e e e e s s s s s s | q. rq. rq e q e | e e e e s s e e e e q. | q.+q. q. q."),
    ("Nine-eight air", 84, "9/8", "1", None,
     "e | q e q e e e e | q. q e e s s e | e e e q e q. | q.+q. q e | q e e e e q."),
    ("Two-four polka", 116, "2/4", "1/2", None,
     "s s | e e e e | s s s s e e | q e s s | e e q | s s s s s s s s | e e q | h"),
    ("Slow funk with triplet pickup", 86, "4/4", "1/2", None,
     "s3 s3 s3 | e. s rs s e e s s rq | re s s e. s e e re s3 s3 s3 | e. s rs s e q rq | h"),
    ("Blues answer with sextuplets", 72, "4/4", "2", None,
     "e e s3*6 | q+e s s e e q | s3*3 e s3*3 e q e e | re s s s s s s q+e e | s3*6 s3*6 q q | w"),
    ("Swing with triplet turns", 132, "4/4", "1", 2.0,
     "e e | q e e e3*3 q | e e e e e e q | re e e e q e e | e e e3*3 e e q | w"),
)  # fmt: skip


def parse(title: str, tempo: float, meter: str, pickup: str, swing: float | None, text: str) -> RhythmLine:
    """Read one row of the table."""
    beats, unit = (int(part) for part in meter.split("/"))
    at = -Fraction(pickup)
    starts, lengths = [], []
    for token in text.split():
        figure, _, times = token.partition("*")
        rest = figure.startswith("r")
        if figure == "|":
            assert at % beats == 0, f"{title}: a bar ends at beat {at}"
            continue
        length = sum((_length(part) for part in figure.lstrip("r").split("+")), Fraction(0)) * unit / 4
        for _ in range(int(times or 1)):
            if not rest:
                starts.append(at)
                lengths.append(length)
            at += length
    return RhythmLine(title, float(tempo), Meter(beats, unit), tuple(starts), tuple(lengths), swing)


def _length(figure: str) -> Fraction:
    found = _FIGURE.fullmatch(figure)
    if not found:
        raise ValueError(f"cannot read the figure {figure!r}")
    letter, dot, tuplet = found.groups()
    return Fraction(_QUARTERS[letter]) * (Fraction(3, 2) if dot else 1) * _TUPLETS[tuplet]


def written_lines() -> tuple[RhythmLine, ...]:
    """All hand-written lines."""
    return tuple(parse(*row) for row in _TEXT)


# Bars of a seeded composer, in quarters: written so that a phrase makes sense, unlike a draw per beat.
_PHRASES = {
    "eighths": ("e e e e q e e", "q. e e e q",
                "re e e e e e q", "h e e q", "q e e+q e e", "e e q h", "q q h"),
    "sixteenths": ("e s s s s e q e e", "s s s s e e q q", "e. s e e s s e q", "re s s e e h", "s*8 e e q",
                   "q s s e e s s q", "e s s+s s e q rq", "e. s+e s s q rq"),
    "triplets": ("e3*3 q e3*3 q", "e e e3*3 h", "q e3*3 e e q", "re e e3*3 q q", "e3*3 e3*3 q e e"),
    "mixed": ("s3*6 s*4 q q", "s3*3 s s e e h", "q s3*6 e s s q", "e s3*3 q s s s s q", "e3*3 s*4 q q",
              "re s3*3 e e q e e", "s s s3*3 e s s q rq"),
}  # fmt: skip
_PICKUPS = (
    ("0", ""),
    ("0", ""),
    ("1/2", "e"),
    ("1", "e e"),
    ("1", "e s s"),
    ("3/2", "e e e"),
    ("1/2", "s s"),
)


def composed_line(seed: int) -> RhythmLine:
    """Compose 6 to 10 bars of 4/4 from phrases that come back, seeded."""
    rng = np.random.default_rng([seed, 4])
    kind = str(rng.choice(list(_PHRASES)))
    pickup, lead_in = _PICKUPS[rng.integers(len(_PICKUPS))]
    pool = [str(bar) for bar in rng.permutation(_PHRASES[kind])[:4]] + [str(rng.choice(_PHRASES["eighths"]))]
    bars = [pool[rng.integers(len(pool))] for _ in range(int(rng.integers(5, 10)))]
    ranges = {"eighths": (95, 150), "sixteenths": (72, 122), "triplets": (70, 120), "mixed": (62, 104)}
    tempo = float(rng.integers(*ranges[kind]))
    swing = 2.0 if kind == "eighths" and rng.random() < 0.25 else None
    return parse(f"composed {seed} {kind}", tempo, "4/4", pickup, swing, " | ".join([lead_in, *bars, "h."]))


def play_times(line: RhythmLine, conditions: Conditions, rng: np.random.Generator) -> Times:
    """Time a line: a smooth drift of tempo, jitter per note, lifted ends."""
    tap = line.meter.tap
    period = 60.0 / line.tempo_bpm / tap
    first = float(line.starts[0]) - 1
    if conditions.count_in:
        first = min(first, -float(tap * conditions.count_in) - 1)
    last = float(line.starts[-1] + line.lengths[-1]) + 1
    grid = np.arange(np.floor(first), last + 1, 0.125)
    phase, cycles = rng.uniform(0, 2 * np.pi), rng.uniform(0.3, 1.5)
    pace = 1 + conditions.drift * np.sin(phase + 2 * np.pi * cycles * (grid - first) / (last - first))
    pace *= 1 + rng.uniform(-conditions.off_tempo, conditions.off_tempo)
    # The tempo is what is really played: the median, not the figure at the head of the line.
    tempo = 60.0 / (float(np.median(pace)) * period) / tap
    slowing = np.clip((grid - float(line.starts[-1])) / (2 * tap) + 1, 0, 1)
    pace *= 1 + (conditions.rubato - 1) * slowing
    pace = np.where(grid < 0, conditions.free_start, 1.0) * pace
    clock = np.concatenate([[0.0], np.cumsum(pace[:-1] * 0.125 * period)]) + rng.uniform(0.3, 1.2)
    starts = np.array([_performed(line, start) for start in line.starts])
    ends = np.array([_performed(line, s + n) for s, n in zip(line.starts, line.lengths, strict=True)])
    onset = np.interp(starts, grid, clock)
    written = np.interp(ends, grid, clock) - onset
    onset = np.maximum.accumulate(onset + rng.normal(0, conditions.jitter_s, len(onset)))
    onset = onset + conditions.behind_s
    sounding = written * rng.uniform(*conditions.articulation, len(onset))
    # A metronome counts in at the pace of the first bar; drift is the player's.
    bar_one, beat_one = np.interp([0.0, float(tap)], grid, clock)
    clicks = bar_one - (beat_one - bar_one) * np.arange(conditions.count_in, 0, -1)
    return Times(
        onset, onset + np.maximum(sounding, 0.03), tuple(float(t) for t in clicks), tempo, grid, clock
    )


def perform(line: RhythmLine, conditions: Conditions, seed: int) -> Played:
    """Play a line and hear it, some onsets missed or extra."""
    rng = np.random.default_rng([seed, 9])
    times = play_times(line, conditions, rng)
    notes = [
        (float(t), float(end), i, _velocity(line, i, rng))
        for i, (t, end) in enumerate(zip(times.onsets_s, times.ends_s, strict=True))
        if i == 0 or rng.random() >= conditions.missed
    ]
    for t, end, _, _ in list(notes):
        if rng.random() < conditions.extra:
            notes.append((t + float(rng.uniform(0.03, max(end - t, 0.05))), end, -1, 60))
    notes.sort()
    notes = [
        (t, min(end, notes[k + 1][0]) if k + 1 < len(notes) else end, i, v)
        for k, (t, end, i, v) in enumerate(notes)
    ]
    heard = replace(heard_from(notes), clicks_s=times.clicks_s)
    return Played(heard, tuple(note[2] for note in notes), times.tempo_bpm)


def heard_from(notes: list[tuple[float, float, int, int]]) -> Heard:
    """Wrap (onset, end, anything, velocity) in records."""
    found = tuple(HeardNote(t, end, 60, v, (), _EMPTY, _EMPTY, 1.0, 0.8, 1.0) for t, end, _, v in notes)
    return Heard(found, 440.0, PitchTrack(*[_EMPTY] * len(fields(PitchTrack))))


def _performed(line: RhythmLine, beat: Fraction) -> float:
    within = beat % 1
    # Triplets stay even under swing; everything else is warped.
    if line.swing is None or within.denominator % 3 == 0:
        return float(beat)
    knee = line.swing / (1 + line.swing)
    warped = 2 * knee * within if within <= Fraction(1, 2) else knee + (2 * float(within) - 1) * (1 - knee)
    return float(beat - within) + float(warped)


def _velocity(line: RhythmLine, index: int, rng: np.random.Generator) -> int:
    accent = 3.0 if line.starts[index] % line.meter.tap == 0 else 0.0
    return int(np.clip(85 + accent + rng.normal(0, 7), 30, 120))
