"""Clicks laid under recorded notes at known times: found to some milliseconds, and never drafted as notes."""

from __future__ import annotations

import numpy as np
import pytest

from tests.accuracy.splice import splice
from tests.notation.bench_audio import CLICK_SOUNDS, hear_bench, take_of, with_clicks
from tests.notation.bench_lines import bench_lines
from tests.notation.bench_playing import perform_bench
from tests.notation.rhythm_lines import Conditions
from transcriber.fretboard.instruments import read_instrument
from transcriber.listening import listen
from transcriber.listening.clicks import TOLD, UNASKED, find_clicks, hear_clicks
from transcriber.listening.metronome import find_metronome

COUNTED_IN = [bench for bench in bench_lines("count-in", "fit", 1) if bench.maker != "cells"][:3]


@pytest.mark.parametrize("kind", CLICK_SOUNDS)
@pytest.mark.parametrize("bpm", [48, 100, 180])
def test_clicks_alone_are_found_to_some_milliseconds(kind: str, bpm: int) -> None:
    times = 0.4 + 60.0 / bpm * np.arange(6)
    sound = with_clicks(np.zeros(round(44_100 * (times[-1] + 1.0))), times, kind, 1)
    sound += np.random.default_rng(2).normal(0, 1e-4, len(sound)).astype(np.float32)
    take = take_of(sound)
    found = find_clicks(take.samples, take.sample_rate_hz, UNASKED)
    assert len(found) == 6
    assert np.abs(found - times).max() < 0.006


@pytest.mark.parametrize("bench", COUNTED_IN, ids=lambda bench: bench.line.title)
def test_a_count_in_told_is_heard_and_is_no_note(bench) -> None:
    _, times = perform_bench(bench)
    played = hear_bench(bench, "green", 4)
    assert np.abs(np.array(played.heard.clicks_s) - np.array(times.clicks_s)).max() < 0.02
    assert played.origin.count(-1) == 0


@pytest.mark.parametrize("kind", ["wood", "stick"])
def test_a_metronome_through_the_take_is_heard(kind: str) -> None:
    bench = bench_lines("straight", "fit", 1)[0]
    performance, _ = perform_bench(bench, Conditions(drift=0.0))
    beats = np.array(performance.beats_s)
    take = take_of(with_clicks(splice(performance, "green"), beats, kind, 1, level=0.15))
    found = find_clicks(take.samples, take.sample_rate_hz, TOLD)
    assert len(found) >= 0.7 * len(beats)
    assert np.abs(found[:, None] - beats[None, :]).min(axis=1).max() < 0.012


@pytest.mark.parametrize("kind", ["wood", "stick"])
@pytest.mark.parametrize("name", ["straight", "syncopated"])
def test_a_metronome_that_notes_cover_is_found_by_its_period(kind: str, name: str) -> None:
    bench = bench_lines(name, "report", 1)[1]
    performance, _ = perform_bench(bench, Conditions(drift=0.0))
    beats = np.array(performance.beats_s)
    sound = splice(performance, "green")
    take = take_of(with_clicks(sound, beats, kind, 1, level=0.15))
    found = find_metronome(take.samples, take.sample_rate_hz)
    inside = found[(found > beats[0] - 0.02) & (found < min(beats[-1], len(sound) / 44_100) + 0.02)]
    assert len(inside) >= 0.9 * len(beats)
    assert np.abs(inside[:, None] - beats[None, :]).min(axis=1).max() < 0.02


def test_a_count_in_to_a_metronome_begins_where_the_first_click_sounds() -> None:
    bench = bench_lines("straight", "fit", 1)[0]
    performance, _ = perform_bench(bench, Conditions(drift=0.0))
    beats = np.array(performance.beats_s)
    period = float(np.median(np.diff(beats)))
    # Before the four clicks of the count there is room for two more that do not sound.
    lead = round((6.3 * period - beats[0]) * 44_100) / 44_100
    sound = np.concatenate([np.zeros(round(lead * 44_100)), splice(performance, "green")])
    clicks = np.concatenate([beats[0] + lead + period * np.arange(-4, 0), beats + lead])
    take = take_of(with_clicks(sound, clicks, "wood", 1, level=0.15))
    heard = hear_clicks(take, listen(take, read_instrument("standard")), count_in=4, through=True)
    assert np.abs(np.array(heard.clicks_s[:4]) - clicks[:4]).max() < 0.02
    assert heard.clicks_s[-1] > clicks[-3]


def test_no_metronome_is_made_up() -> None:
    for bench in bench_lines("straight", "report", 2)[:5]:
        take = take_of(splice(perform_bench(bench)[0], "green"))
        assert not len(find_metronome(take.samples, take.sample_rate_hz))


@pytest.mark.parametrize("name", ["straight", "sixteenth triplets"])
def test_a_take_without_clicks_has_none(name: str) -> None:
    for bench in bench_lines(name, "fit", 1)[:2]:
        assert hear_bench(bench, "green").heard.clicks_s == ()


def test_no_click_is_made_up() -> None:
    times = 0.4 + 0.6 * np.arange(4)
    sound = with_clicks(np.zeros(44_100 * 6), times, "wood", 1)
    take = take_of(sound)
    assert len(find_clicks(take.samples, take.sample_rate_hz, TOLD, 6)) == 4
    assert len(find_clicks(take.samples, take.sample_rate_hz, TOLD, 3)) == 3
