"""Lines whose key, chords and phrases are known because rules wrote them.

Some seeds are for fitting, others for reporting.

Two sources: `song_line` writes over a progression in phrases that are repeated and varied; `bench_line` takes
the walks and motifs of the accuracy bench, which have shapes but no harmony, and gives them a progression.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tests.accuracy.compose import FOUR_FOUR, STYLES, choose_shapes, develop, walk
from tests.accuracy.rhythms import CELLS, cell_rhythm, weighted_rhythm
from transcriber.records.analysed import LinePoint

STANDARD = (64, 59, 55, 50, 45, 40)
# Seeds: nothing is fitted to those of REPORT, and no line of theirs is looked at while working.
FIT, REPORT = 1_000, 20_000

MODES = {
    "major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10), "dorian": (0, 2, 3, 5, 7, 9, 10),
    "mixolydian": (0, 2, 4, 5, 7, 9, 10),
}  # fmt: skip
PARENT = {"major": 0, "minor": 3, "dorian": 10, "mixolydian": 5}
SETS = {
    "major": (MODES["major"], MODES["major"], (0, 2, 4, 7, 9)),
    "minor": (MODES["minor"], MODES["minor"], (0, 3, 5, 7, 10), (0, 3, 5, 7, 10), (0, 3, 5, 6, 7, 10)),
    "dorian": (MODES["dorian"],),
    "mixolydian": (MODES["mixolydian"], (0, 2, 3, 4, 7, 9, 10)),
}
# Progressions: semitones of the root above the tonic and quality, one a bar.
PROGRESSIONS = {
    "major": ("0 7 9m 5", "0 9m 5 7", "0 5 0 7", "2m7 7 0 0", "0 4m 5 5"),
    "minor": ("0m 8 3 10", "0m 10 8 7", "0m 5m 0m 7m", "0m7 5m7 0m7 7m7", "0m 10 0m 10"),
    "dorian": ("0m7 57", "0m 5 0m 10", "0m7 0m7 57 57"),
    "mixolydian": ("0 10 5 0", "07 57 07 07", "07 57 07 77", "0 0 10 5"),
}
ROOT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")
WEIGHTS = (0.34, 0.36, 0.12, 0.18)
RHYTHMS = (
    "1 .5 .5 1 1", ".5 .5 .5 .5 1 1", ".5 .5 .5 .5 .5 .5 1", "1.5 .5 1 1", ".5 1 .5 .5 .5 1",
    "1 1 .5 .5 .5 .5",
    ".25 .25 .5 .5 .5 .5 .5 1", ".5 .5 1 .5 .5 1",
)  # fmt: skip
CLOSES = ("1 3", ".5 .5 3", "1 1 2", ".5 .5 1 2", "1 .5 .5 2", "2 2", ".5 .5 .5 .5 2")


@dataclass(frozen=True)
class KeyedLine:
    """A line with its truth; the signature is told by the pitch class of the parent major scale."""

    points: tuple[LinePoint, ...]
    parent: int
    chords: str
    tonic: int
    mode: str
    phrase_starts: tuple[Fraction, ...]


def progression(
    mode: str, tonic: int, rng: np.random.Generator, pentatonic: bool = False
) -> list[tuple[int, str]]:
    """Draw a progression: root pitch class and quality of every bar.

    Under a minor pentatonic or blues scale the subdominant is often a dominant seventh (common practice).
    """
    if pentatonic and mode == "minor" and rng.random() < 0.4:
        rows = ("0m7 57", "0m7 0m7 57 0m7")[rng.integers(2)].split()
    else:
        rows = PROGRESSIONS[mode][rng.integers(len(PROGRESSIONS[mode]))].split()
    found = []
    for word in rows:
        digits = 2 if word[:2] in ("10", "11") else 1
        found.append(((int(word[:digits]) + tonic) % 12, word[digits:]))
    return found


def chord_text(chords: list[tuple[int, str]]) -> str:
    return " | ".join(ROOT_NAMES[root] + quality for root, quality in chords)


# Without these degrees, heard twice, nothing sets a mode apart; nor where one pitch is half of the line.
CHARACTERISTIC = {"major": {4}, "minor": {3}, "dorian": {3, 9}, "mixolydian": {4, 10}}
FEWEST_CLASSES, MOST_SHARE = 5, 0.4


def song_line(seed: int, bars: int = 8) -> KeyedLine:
    """Write a line of phrases over a progression; one whose notes cannot tell its mode is drawn again."""
    attempt = 0
    while True:
        line = _song_line(np.random.default_rng([77, seed, attempt]), bars)
        degrees = Counter((point.pitch_midi - line.tonic) % 12 for point in line.points)
        tells = all(degrees[each] >= 2 for each in CHARACTERISTIC[line.mode])
        if tells and len(degrees) >= FEWEST_CLASSES and max(degrees.values()) < MOST_SHARE * len(line.points):
            return line
        attempt += 1


def _song_line(rng: np.random.Generator, bars: int) -> KeyedLine:
    mode = str(rng.choice(list(MODES), p=WEIGHTS))
    tonic = int(rng.integers(12))
    degrees = SETS[mode][rng.integers(len(SETS[mode]))]
    chords = progression(mode, tonic, rng, len(degrees) < 7)
    low = 45 + int(rng.integers(12))
    ladder = [pitch for pitch in range(low, low + 18) if (pitch - tonic) % 12 in degrees]
    points: list[LinePoint] = []
    starts: list[Fraction] = []
    kept: list[tuple[list[tuple[Fraction, Fraction]], list[int]]] = []
    length = int(rng.choice([2, 2, 2, 4]))
    for first in range(0, bars, length):
        last = first + length >= bars
        again = kept[rng.integers(len(kept))] if kept and rng.random() < 0.4 else None
        rhythm, pitches = _phrase(first, length, ladder, chords, rng, tonic if last else None)
        if again is not None:
            rhythm = again[0]
            keep = len(again[1]) - int(rng.integers(0, 3))
            pitches = again[1][:keep] + (pitches + again[1])[-(len(again[1]) - keep) or len(again[1]) :]
            pitches = pitches[: len(rhythm)]
        kept.append((rhythm, pitches))
        starts.append(first * 4 + rhythm[0][0])
        points += [
            _point(first * 4 + at, beats, pitch) for (at, beats), pitch in zip(rhythm, pitches, strict=True)
        ]
    return KeyedLine(
        tuple(points), (tonic + PARENT[mode]) % 12, chord_text(chords), tonic, mode, tuple(starts)
    )


def _phrase(first, length, ladder, chords, rng, goal):
    """Rhythm of a phrase from its first bar on, and its pitches."""
    rhythm: list[tuple[Fraction, Fraction]] = []
    skip = Fraction(str(rng.choice(["0", "0", "0", "1/2", "1"])))
    for bar in range(length):
        rows = CLOSES if bar + 1 == length else RHYTHMS
        at = Fraction(4 * bar)
        for word in rows[rng.integers(len(rows))].split():
            beats = Fraction(word)
            if at >= skip:
                rhythm.append((at, beats))
            at += beats
    if rng.random() < 0.7:
        at, beats = rhythm[-1]
        rhythm[-1] = (at, beats / 2 if beats >= 2 else beats)
    index = int(rng.integers(len(ladder)))
    pitches = []
    for place, (at, _) in enumerate(rhythm):
        root, quality = chords[(first + int(at // 4)) % len(chords)]
        tones = {root, (root + (3 if quality.startswith("m") else 4)) % 12, (root + 7) % 12}
        index += int(rng.choice([-3, -2, -1, -1, 0, 1, 1, 2, 3]))
        index = min(max(index, 0), len(ladder) - 1)
        final = place + 1 == len(rhythm)
        if final and goal is not None and rng.random() < 0.75:
            tones = {goal}
        if (at.denominator == 1 and rng.random() < 0.55) or final:
            near = [i for i, pitch in enumerate(ladder) if pitch % 12 in tones]
            index = min(near, key=lambda i: abs(i - index)) if near else index
        pitches.append(ladder[index])
        if place and rng.random() < 0.03:
            pitches[-2] = pitches[-1] - 1
    return rhythm, pitches


def _point(at: Fraction, beats: Fraction, pitch: int, place: tuple[int, int] | None = None) -> LinePoint:
    seconds = float(at) * 0.5 + 4
    string, fret = place or (None, None)
    return LinePoint(seconds, seconds + float(beats) * 0.5, at, beats, pitch, (), string, fret)


def bench_line(seed: int) -> KeyedLine:
    """Make a line of the accuracy bench's walks and motifs, 32 to 48 notes, with chords in its scale."""
    rng = np.random.default_rng([78, seed])
    count = int(rng.integers(32, 49))
    shapes = choose_shapes(STYLES[seed % 4], rng)
    if seed % 2:
        slots = cell_rhythm(CELLS["straight"], count, rng, FOUR_FOUR)
        steps = walk(shapes, slots, rng)
    else:
        slots = weighted_rhythm("straight", count, rng)
        steps = develop(shapes, slots, rng)
    points = []
    for slot, step in zip([slot for slot in slots if slot.sounded], steps, strict=False):
        pitch = STANDARD[step.string - 1] + step.fret
        points.append(_point(slot.start, slot.length, pitch, (step.string, step.fret)))
    classes = {(STANDARD[string - 1] + fret) % 12 for shape in shapes for string, fret in shape.rungs}
    parent, mode = parent_of(classes), str(rng.choice(["major", "minor"]))
    tonic = (parent - PARENT[mode]) % 12
    chords = chord_text(progression(mode, tonic, rng))
    return KeyedLine(tuple(points), parent, chords, tonic, mode, ())


def parent_of(classes: set[int]) -> int:
    """Pitch class of the major scale that a whole scale, a pentatonic or a blues scale belongs to."""
    if len(classes) == 6:
        # A blues scale: its flat fifth lies between two of its notes a half step away.
        classes = {each for each in classes if not {(each + 1) % 12, (each - 1) % 12} <= classes}
    fits = [root for root in range(12) if classes <= {(root + step) % 12 for step in MODES["major"]}]
    # A pentatonic fits three: the one whose major pentatonic it is.
    exact = [
        root for root in fits if len(classes) != 5 or {(root + s) % 12 for s in (0, 2, 4, 7, 9)} == classes
    ]
    assert len(exact) == 1, sorted(classes)
    return exact[0]
