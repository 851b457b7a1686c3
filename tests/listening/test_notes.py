"""Notes and techniques on made sounds whose truth is known in closed form."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.listening.sounds import GUITAR, RATE, Pluck, sound_of, take_of
from transcriber.listening import listen
from transcriber.records.heard import Heard


def heard(strokes: list[Pluck], **keywords: float) -> Heard:
    last = max(stroke.times_s[-1] for stroke in strokes)
    return listen(take_of(sound_of(strokes, last + 0.3, **keywords)), GUITAR)


def s_curve(start_s: float, end_s: float, low: float, high: float) -> tuple[list[float], list[float]]:
    """Points of a raised cosine from low to high."""
    share = np.linspace(0, 1, 21)
    times = start_s + share * (end_s - start_s)
    return times.tolist(), (low + (high - low) * (0.5 - 0.5 * np.cos(np.pi * share))).tolist()


def test_separate_notes_with_their_times() -> None:
    midi = [52, 55, 57, 64, 69, 76]
    strokes = [Pluck((0.3 + 0.3 * i, 0.58 + 0.3 * i), (m, m)) for i, m in enumerate(midi)]
    found = heard(strokes).notes
    assert [note.pitch_midi for note in found] == midi
    assert [note.onset_s for note in found] == pytest.approx([s.times_s[0] for s in strokes], abs=0.012)
    assert [note.end_s for note in found] == pytest.approx([s.times_s[1] for s in strokes], abs=0.03)
    assert not any(note.techniques for note in found)


def test_one_pitch_picked_again_and_again() -> None:
    strokes = [Pluck((0.2 + 0.15 * i, 0.35 + 0.15 * i), (60, 60), 0.1 + 0.02 * i) for i in range(8)]
    found = heard(strokes).notes
    assert [note.pitch_midi for note in found] == [60] * 8
    assert [note.onset_s for note in found] == pytest.approx([s.times_s[0] for s in strokes], abs=0.012)


@pytest.mark.parametrize("semitones", [1.0, 1.5, 2.0])
def test_bend_and_release_keep_the_fretted_pitch(semitones: float) -> None:
    up, down = s_curve(0.5, 0.68, 64, 64 + semitones), s_curve(1.0, 1.18, 64 + semitones, 64)
    stroke = Pluck((0.2, *up[0], *down[0], 1.6), (64, *up[1], *down[1], 64))
    (note,) = heard([stroke]).notes
    assert note.pitch_midi == 64
    assert [t.kind for t in note.techniques] == ["bend", "release"]
    bend, release = note.techniques
    assert bend.semitones == pytest.approx(semitones, abs=0.1)
    assert release.semitones == 0
    assert bend.start_s is not None
    assert bend.start_s == pytest.approx(0.5, abs=0.06)
    assert bend.end_s == pytest.approx(0.68, abs=0.06)


def test_pre_bend_is_written_at_its_fret() -> None:
    down = s_curve(0.7, 0.88, 66, 64)
    (note,) = heard([Pluck((0.2, *down[0], 1.4), (66, *down[1], 64))]).notes
    assert note.pitch_midi == 64
    assert [t.kind for t in note.techniques] == ["pre_bend", "release"]
    assert note.techniques[0].semitones == pytest.approx(2, abs=0.1)


@pytest.mark.parametrize(("rate_hz", "depth"), [(4.0, 0.5), (5.5, 0.4), (6.5, 0.8)])
def test_vibrato_has_its_rate_and_depth(rate_hz: float, depth: float) -> None:
    """Finger vibrato raises the pitch only (common practice): the note keeps its fret."""
    times = np.arange(0.6, 2.0, 0.004)
    swing = 64 + depth * (0.5 - 0.5 * np.cos(2 * np.pi * rate_hz * (times - 0.6)))
    (note,) = heard([Pluck((0.2, *times), (64, *swing))]).notes
    assert note.pitch_midi == 64
    (vibrato,) = note.techniques
    assert vibrato.kind == "vibrato"
    assert vibrato.rate_hz == pytest.approx(rate_hz, abs=0.4)
    assert vibrato.depth_semitones == pytest.approx(depth, abs=0.1)


def test_slide_over_frets_reaches_a_new_note() -> None:
    stops = [57, 58, 59, 60, 61, 62]
    times = [t for i in range(5) for t in (0.6 + 0.03 * i + 0.022, 0.6 + 0.03 * (i + 1))]
    midi = [m for low, high in pairwise(stops) for m in (low, high)]
    found = heard([Pluck((0.2, 0.6, *times, 1.3), (57, 57, *midi, 62))]).notes
    assert [note.pitch_midi for note in found] == [57, 62]
    assert [t.kind for t in found[1].techniques] == ["slide"]
    assert found[1].techniques[0].picked is False
    assert found[1].onset_s == pytest.approx(0.75, abs=0.05)


@pytest.mark.parametrize(("first", "second", "kind"), [(64, 67, "hammer_on"), (67, 64, "pull_off")])
def test_slurs_are_notes_without_a_pick(first: int, second: int, kind: str) -> None:
    found = heard([Pluck((0.2, 0.6, 0.606, 1.1), (first, first, second, second))]).notes
    assert [note.pitch_midi for note in found] == [first, second]
    assert [t.kind for t in found[1].techniques] == [kind]
    assert found[1].onset_s == pytest.approx(0.603, abs=0.02)


@pytest.mark.parametrize("cents", [-35.0, 20.0, 35.0])
def test_the_takes_own_tuning_is_found(cents: float) -> None:
    strokes = [
        Pluck((0.3 * i + 0.2, 0.3 * i + 0.48), (m + cents / 100,) * 2) for i, m in enumerate((55, 60, 64))
    ]
    result = heard(strokes)
    assert [note.pitch_midi for note in result.notes] == [55, 60, 64]
    assert 1200 * np.log2(result.reference_hz / 440) == pytest.approx(cents, abs=3)


def test_times_are_those_of_the_file() -> None:
    wave = sound_of([Pluck((0.3, 0.9), (60, 60))], 1.2)
    (note,) = listen(take_of(wave, start_s=12.5), GUITAR).notes
    assert note.onset_s == pytest.approx(12.8, abs=0.012)
    assert note.contour_times_s[0] >= 12.7


def test_chords_are_told_not_drafted() -> None:
    """Three notes at once, unrelated in frequency: no single pitch, so no wrong single notes."""
    strokes = [Pluck((0.2 + 0.6 * i, 0.75 + 0.6 * i), (m, m)) for i in range(4) for m in (52, 58.7, 65.1)]
    result = heard(strokes)
    assert any(problem.code == "not_a_line" for problem in result.problems)


@settings(max_examples=15, deadline=None)
@given(
    st.lists(st.tuples(st.integers(45, 84), st.floats(0.12, 0.5)), min_size=1, max_size=8), st.integers(0, 3)
)
def test_any_line_gives_ordered_sane_notes(line: list[tuple[int, float]], quiet: int) -> None:
    """Whatever is played, notes come in order, within the take and the instrument, with finite figures."""
    at, strokes = 0.2, []
    for midi, length in line:
        strokes.append(Pluck((at, at + length), (midi, midi), 0.2 / 2**quiet))
        at += length
    result = heard(strokes)
    onsets = [note.onset_s for note in result.notes]
    assert onsets == sorted(onsets)
    for note in result.notes:
        assert 0 <= note.onset_s < note.end_s <= at + 0.31
        assert 1 <= note.velocity <= 127
        for value in (note.pitch_confidence, note.onset_confidence, note.technique_confidence):
            assert 0 <= value <= 1
        assert not note.contour_times_s.flags.writeable
        assert len(note.contour_times_s) == len(note.contour_cents)


def test_one_thread_or_two_give_the_same_notes() -> None:
    from scipy import fft

    wave = sound_of([Pluck((0.2, 0.6), (60, 60)), Pluck((0.6, 1.0), (62, 62))], 1.2)
    with fft.set_workers(1):
        alone = listen(take_of(wave), GUITAR)
    again = listen(take_of(wave), GUITAR)
    assert [n.onset_s for n in alone.notes] == [n.onset_s for n in again.notes]
    np.testing.assert_array_equal(alone.track.frequency_hz, again.track.frequency_hz)
    assert RATE == 22_050
