"""Chords of recorded notes inside a line: told at their time, whatever is drafted there; the line is kept."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soxr

from tests.accuracy.note_bank import SAMPLE_RATE_HZ, choose
from tests.listening.sounds import GUITAR, RATE, take_of
from transcriber.audio import read_take
from transcriber.listening import listen

# String and fret of chords that guitarists know: open ones, a barre, power chords, a triad (common practice).
CHORDS = {
    "E": ((6, 0), (5, 2), (4, 2), (3, 1), (2, 0), (1, 0)),
    "Am": ((5, 0), (4, 2), (3, 2), (2, 1), (1, 0)),
    "A7": ((5, 0), (4, 2), (3, 0), (2, 2), (1, 0)),
    "C": ((5, 3), (4, 2), (3, 0), (2, 1), (1, 0)),
    "D": ((4, 0), (3, 2), (2, 3), (1, 2)),
    "F": ((6, 1), (5, 3), (4, 3), (3, 2), (2, 1), (1, 1)),
    "Bm7": ((5, 2), (4, 4), (3, 2), (2, 3), (1, 2)),
    "G5": ((6, 3), (5, 5), (4, 5)),
    "A5": ((6, 5), (5, 7)),
    "Am triad": ((3, 5), (2, 5), (1, 5)),
}
TOLD = {"chord", "two_notes", "unclear_pitch"}
STRUM_S = 0.012
SAMPLES = Path(__file__).parents[2] / "sample_audio_generated"


def laid(wave: np.ndarray, guitar: str, place: tuple[int, int], at_s: float, length_s: float) -> None:
    """Add one recorded note, from its onset, faded out at its end."""
    string, fret = place
    midi = GUITAR.tuning_midi[string - 1] + fret
    note = choose(guitar, midi, string, fret, 90, "picked", 0)
    bent = soxr.resample(note.samples[note.onset :], SAMPLE_RATE_HZ * 2 ** ((midi - note.pitch) / 12), RATE)
    piece = 0.1 * bent[: round(length_s * RATE)]
    piece[-300:] *= np.linspace(1, 0, 300)
    start = round(at_s * RATE)
    wave[start : start + len(piece)] += piece


@pytest.mark.parametrize("name", CHORDS)
@pytest.mark.parametrize("guitar", ["strat", "green"])
def test_a_chord_in_a_line_is_told(guitar: str, name: str) -> None:
    wave = np.random.default_rng(1).normal(0, 1e-4, 4 * RATE)
    laid(wave, guitar, (3, 5), 0.3, 0.5)
    laid(wave, guitar, (3, 7), 0.8, 0.5)
    for number, place in enumerate(CHORDS[name]):
        laid(wave, guitar, place, 1.4 + number * STRUM_S, 1.2)
    laid(wave, guitar, (3, 5), 2.9, 0.6)
    heard = listen(take_of((wave / np.abs(wave).max() * 0.5).astype(np.float32)), GUITAR)
    told = [p.start_s for p in heard.problems if p.code in TOLD and p.start_s is not None]
    assert told
    assert all(1.3 < at_s < 2.8 for at_s in told)
    line = [n.pitch_midi for n in heard.notes if not 1.3 < n.onset_s < 2.8]
    assert line == [60, 62, 60]


def test_the_thud_of_a_damped_string_is_no_chord() -> None:
    heard = listen(read_take(SAMPLES / "ticket_window.flac"), GUITAR)
    dead = [note for note in heard.notes if note.has("dead_note")]
    assert len(dead) >= 4
    assert [problem.code for problem in heard.problems if problem.code == "chord"] == []
