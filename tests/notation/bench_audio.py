"""Bench lines through sound: spliced from recorded notes, clicked in where asked, and listened to."""

from __future__ import annotations

import functools
from collections.abc import Sequence

import mir_eval
import numpy as np
import soxr

from tests.accuracy.necks import GUITAR
from tests.accuracy.note_bank import SAMPLE_RATE_HZ
from tests.accuracy.splice import splice
from tests.notation.bench_lines import BenchLine
from tests.notation.bench_playing import perform_bench
from tests.notation.rhythm_lines import Played
from transcriber.listening import listen
from transcriber.listening.clicks import hear_clicks
from transcriber.records.line import Performance
from transcriber.records.take import Take

RATE_HZ = 22_050
CLICK_SOUNDS = ("wood", "beep", "stick")


@functools.cache
def hear_bench(bench: BenchLine, guitar: str, count_in: int | None = None) -> Played:
    """Splice a line with the notes of one guitar and listen to it; which written note each heard one is."""
    performance, times = perform_bench(bench)
    sound = splice(performance, guitar)
    sound = with_clicks(sound, times.clicks_s, CLICK_SOUNDS[bench.seed % len(CLICK_SOUNDS)], bench.seed)
    take = take_of(sound)
    heard = hear_clicks(take, listen(take, GUITAR), count_in)
    return Played(heard, matched(performance, heard.notes), times.tempo_bpm)


def take_of(sound: np.ndarray) -> Take:
    """Wrap a sound at the bank's rate as a take at the working rate."""
    samples = np.asarray(soxr.resample(sound, SAMPLE_RATE_HZ, RATE_HZ), dtype=np.float32)
    return Take(samples, RATE_HZ, 0.0, "bench.wav", "0" * 64, SAMPLE_RATE_HZ, len(sound) / SAMPLE_RATE_HZ)


def with_clicks(
    sound: np.ndarray, times_s: Sequence[float], kind: str, seed: int, level: float = 0.1
) -> np.ndarray:
    """Lay clicks under a sound: a wood block, a beep with an accent on the first, or sticks."""
    mixed = np.array(sound, dtype=np.float32)
    rng = np.random.default_rng(seed)
    for number, time in enumerate(times_s):
        click = level * click_sound(kind, number % 4 == 0, rng)
        at = round(time * SAMPLE_RATE_HZ)
        mixed[at : at + len(click)] += click[: max(len(mixed) - at, 0)].astype(np.float32)
    return mixed


def click_sound(kind: str, accented: bool, rng: np.random.Generator) -> np.ndarray:
    """One click at full scale, 44.1 kHz."""
    time = np.arange(round(0.1 * SAMPLE_RATE_HZ)) / SAMPLE_RATE_HZ
    if kind == "beep":
        pitch = 1500.0 if accented else 1000.0
        edge = np.clip(np.minimum(time, 0.04 - time) / 0.003, 0, 1)
        return np.sin(2 * np.pi * pitch * time) * edge
    if kind == "wood":
        pitch = 1250.0 if accented else 1100.0
        tone = np.sin(2 * np.pi * pitch * time) + 0.5 * np.sin(2 * np.pi * 2.7 * pitch * time)
        return 0.7 * tone * np.exp(-time / 0.012) * np.clip(time / 0.0005, 0, 1)
    return rng.normal(0, 0.4, len(time)) * np.exp(-time / 0.006)


def matched(performance: Performance, notes: Sequence) -> tuple[int, ...]:
    """For each heard note the written note it is, -1 for none: within 50 ms and 50 cents."""
    if not notes:
        return ()
    true = performance.notes
    pairs = mir_eval.transcription.match_notes(
        np.array([(one.onset_s, max(one.end_s, one.onset_s + 0.001)) for one in true]),
        np.array([440.0 * 2 ** ((one.pitch_midi - 69) / 12) for one in true]),
        np.array([(one.onset_s, max(one.end_s, one.onset_s + 0.001)) for one in notes]),
        np.array([440.0 * 2 ** ((one.pitch_midi - 69) / 12) for one in notes]),
        offset_ratio=None,
    )
    origin = {heard: written for written, heard in pairs}
    return tuple(origin.get(index, -1) for index in range(len(notes)))
