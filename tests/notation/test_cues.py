"""What speaks for one way to count a line, cue by cue."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest

from tests.notation.bench_lines import bench_lines
from tests.notation.measure_rhythm import score_bench
from transcriber.notation.bars import RESOLUTION, Onsets, Rival
from transcriber.notation.cues import bar_features
from transcriber.records.written import Meter

EIGHTHS = np.arange(32) * (RESOLUTION // 2)


def features(sounding: np.ndarray, accents: np.ndarray, offset: int) -> dict[str, float]:
    onsets = Onsets(EIGHTHS, sounding, accents)
    rival = Rival(Fraction(1), Fraction(offset, RESOLUTION), Meter(4, 4), 0)
    return bar_features(onsets, EIGHTHS + offset, rival, 100.0)


def test_accents_speak_for_the_beats_they_stand_on_and_less_against_others() -> None:
    accents = np.where(EIGHTHS % RESOLUTION == 0, 1.0, -1.0)
    held = np.full(len(EIGHTHS), RESOLUTION // 2)
    on, off = (features(held, accents, offset)["beat_accent"] for offset in (0, RESOLUTION // 2))
    assert on > 5.0
    assert -np.log(5.0) <= off < 0.0
    assert features(held, np.zeros(32), 0)["beat_accent"] < 0.0


@pytest.mark.parametrize(("offset", "told"), [(0, 1.0), (RESOLUTION // 2, -1.0)])
def test_a_player_stops_on_beats(offset: int, told: float) -> None:
    place = np.concatenate([EIGHTHS[:16], EIGHTHS[:16] + 10 * RESOLUTION, EIGHTHS[:2] + 20 * RESOLUTION])
    sounding = np.full(len(place), round(0.94 * RESOLUTION / 2))
    onsets = Onsets(place, sounding, np.zeros(len(place)))
    rival = Rival(Fraction(1), Fraction(0), Meter(4, 4), 0)
    # Both rows of eighths end where a beat begins.
    found = bar_features(onsets, place + offset, rival, 100.0)["stops_on_beat"]
    assert np.sign(found) == told
    assert abs(found) == pytest.approx(2 / np.sqrt(len(place)), rel=0.05)


def test_notes_all_cut_short_tell_little_of_the_beat() -> None:
    found = features(np.full(len(EIGHTHS), RESOLUTION // 8), np.zeros(32), 0)["stops_on_beat"]
    assert abs(found) <= 1.0


def test_a_line_that_slows_to_its_end_is_not_written_half_a_beat_off() -> None:
    weighed = [bench for bench in bench_lines("rubato ending", "report", 3) if bench.maker == "weight"]
    assert min(score.start for score in score_bench(weighed, "tempo")) > 0.9
