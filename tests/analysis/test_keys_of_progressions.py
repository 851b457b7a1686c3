"""Keys of progressions by common practice, most of which the lines of the fit do not have."""

from fractions import Fraction

import numpy as np
import pytest

from transcriber.analysis.chord_evidence import PRICES, WORTHS, chord_evidence
from transcriber.analysis.chords import lay_chords
from transcriber.analysis.key import find_key
from transcriber.analysis.phrases import find_phrases
from transcriber.analysis.scales import Scale, parse_key
from transcriber.records.analysed import LinePoint

# Key: degrees of a pentatonic line in it, and progressions.
PROGRESSIONS = {
    "C major": (
        (0, 2, 4, 7, 9),
        ("Dm7 | G7 | Cmaj7 | Cmaj7", "F | G | C | C", "F | C | G | Am", "Em7 A7 | Dm7 G7 | C | C",
         "C | A7 | Dm7 | G7", "C | E7 | Am | F", "C | D7 | G7 | C", "C | C7 | F | G7", "C | Fm | C | G7",
         "C | G/B | Am | F", "Csus4 | C | G | F"),
    ),
    "A minor": (
        (0, 3, 5, 7, 10),
        ("Am | G | F | E7", "Am | E7 | Am | E7", "Am | Dm | E7 | Am", "Bm7b5 | E7 | Am | Am",
         "F | G | Am | Am", "Am7 | Dm7 | Am7 | E7", "Am | D7 | Am | E7", "Am7 | D7 | F | E7",
         "A5 | G5 | F5 | G5"),
    ),
    "D dorian": (
        (0, 3, 5, 7, 9, 10),
        ("Dm7 | G7", "Dm7 | Em7 | Dm7 | Em7", "Dm | G | Dm | C", "Dm7 | G | C | Dm7"),
    ),
    "G mixolydian": (
        (0, 2, 4, 7, 9, 10),
        ("G7 | C7 | G7 | D7", "G | F | C | G", "G7 | F | G7 | F", "G | Dm | C | G",
         "G7 | C7 | G7 | G7 | C7 | C7 | G7 | G7 | D7 | C7 | G7 | D7"),
    ),
}  # fmt: skip
BARS = ("1/2 1/2 1 1/2 1/2 1", "1/2 1/2 1 2")
CASES = [(key, row, degrees) for key, (degrees, rows) in PROGRESSIONS.items() for row in rows]
LINES = 4


def walk(scale, degrees, seed):
    """Eight bars of steps up and down a scale, ending on the tonic with every other seed."""
    rng = np.random.default_rng([5, seed])
    ladder = [pitch for pitch in range(50, 69) if (pitch - scale.tonic_class) % 12 in degrees]
    index, at = int(rng.integers(len(ladder))), Fraction(0)
    points = []
    for beats in map(Fraction, " ".join(BARS * 4).split()):
        index = min(max(index + int(rng.choice([-2, -1, -1, 0, 1, 1, 2])), 0), len(ladder) - 1)
        if seed % 2 and at + beats == 32:
            index = next(i for i, pitch in enumerate(ladder) if (pitch - scale.tonic_class) % 12 == 0)
        points.append(
            LinePoint(float(at) / 2, float(at + beats) / 2, at, beats, ladder[index], (), None, None)
        )
        at += beats
    return points


def found(row, scale, degrees):
    """Keys found of all walks over a row of chords."""
    lines = [walk(scale, degrees, seed) for seed in range(LINES)]
    keys = [find_key(line, find_phrases(line, 4), lay_chords(row, 4, Fraction(32))) for line in lines]
    return [Scale(key.tonic, key.mode) for key in keys]


@pytest.mark.parametrize(("key", "row", "degrees"), CASES, ids=[f"{key}: {row}" for key, row, _ in CASES])
def test_scale_over_a_progression(key, row, degrees):
    scale = parse_key(key)
    assert all(each.parent_class == scale.parent_class for each in found(row, scale, scale.steps))


def test_pentatonics_over_progressions():
    """The chords have to tell what the line leaves open; a sixth heard once or twice does not tell dorian."""
    right = [
        each.parent_class == parse_key(key).parent_class
        for key, row, degrees in CASES
        for each in found(row, parse_key(key), degrees)
    ]
    assert sum(right) >= 0.95 * len(right)


def evidence(row, key):
    """The columns for one key, by name."""
    scale = parse_key(key)
    columns = chord_evidence([scale.mode], lay_chords(row, 4, Fraction(16)))[0, scale.tonic_class]
    return dict(zip(PRICES + WORTHS, columns.tolist(), strict=True))


def test_chord_functions():
    """Counted by hand: shares of four bars, and of their three changes."""
    told = evidence("C | A7 | Dm | G7", "C major")
    assert told == pytest.approx(
        {
            "chord_outside": 0, "chord_sixth": 0, "chord_blue": 0, "chord_applied": 0.25, "chord_absent": 0,
            "chord_tonic": 0.25, "chord_first": 1, "chord_last": 0, "chord_cadence": 0, "chord_close": 0,
        }
    )  # fmt: skip
    assert evidence("C | A7 | G | G7", "C major")["chord_outside"] == pytest.approx(0.25)
    assert evidence("Am7 | D7 | Am7 | D7", "A minor")["chord_sixth"] == pytest.approx(0.5)
    assert evidence("G7 | C7 | D7 | G7", "G mixolydian")["chord_blue"] == pytest.approx(0.5)
    assert evidence("G7 | C7 | D7 | G7", "G mixolydian")["chord_cadence"] == pytest.approx(1 / 3)
    assert evidence("F | G | Am | Am", "A minor")["chord_close"] == pytest.approx(0.5)
    assert evidence("F | G | F | G", "C major")["chord_absent"] == 1


def test_a_power_chord_is_tonic_in_either_mode():
    assert all(evidence("A5 | D5", key)["chord_tonic"] == 0.5 for key in ("A minor", "A major"))
