"""Speed and memory as ratios measured in one run; nothing here passes or fails.

Run from the repository's root: ``python -m tests.benchmarks.speed``. Every time is the least of a few runs;
"times real time" is the length of the sound over the time it took.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr

from tests.notation.bench_lines import bench_lines
from tests.notation.bench_playing import play_bench
from transcriber.listening.pitch import PitchSettings, track_pitch
from transcriber.notation import write_rhythm

SAMPLES = Path(__file__).parents[2] / "sample_audio_generated"
HOP, RATE = 128, 22_050
LOWEST_HZ, HIGHEST_HZ = 61.74, 1_700.0


def least_seconds(run: Callable[[], object], times: int) -> float:
    """Shortest of several runs."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        run()
        taken.append(time.perf_counter() - began)
    return min(taken)


def all_samples(length_s: float) -> tuple[np.ndarray, int]:
    """Shipped takes one after the other, repeated up to a length."""
    parts = [sf.read(path, dtype="float32") for path in sorted(SAMPLES.glob("*.flac"))]
    rate = parts[0][1]
    wave = np.concatenate([part for part, _ in parts])
    return np.tile(wave, -(-round(length_s * rate) // len(wave)))[: round(length_s * rate)], rate


def pitch_tracker() -> None:
    """The project's tracker and librosa's pyin on the same 20 s, hop and grid of ten bins a semitone."""
    import librosa

    wave, rate = all_samples(20.0)
    wave = soxr.resample(wave, rate, RATE).astype(np.float32)
    settings = PitchSettings(hop=HOP, lowest_hz=LOWEST_HZ, highest_hz=HIGHEST_HZ)

    def theirs(sound: np.ndarray) -> None:
        librosa.pyin(sound, fmin=LOWEST_HZ, fmax=HIGHEST_HZ, sr=RATE, hop_length=HOP, resolution=0.1)

    theirs(wave[:RATE])  # compiles
    track_pitch(wave[:RATE], settings)
    ours_s, theirs_s = (
        least_seconds(lambda: track_pitch(wave, settings), 5),
        least_seconds(lambda: theirs(wave), 2),
    )
    print(f"pitch tracker: {20 / ours_s:.0f} times real time; librosa's pyin {20 / theirs_s:.1f}")
    print(f"pitch tracker: {theirs_s / ours_s:.0f} times as fast as librosa {librosa.__version__}'s pyin")


def program(arguments: list[str]) -> tuple[float, float]:
    """Seconds and peak memory in MB of one run of the program."""
    began = time.perf_counter()
    subprocess.run([sys.executable, "-m", "transcriber", *arguments], check=True, capture_output=True)
    seconds = time.perf_counter() - began
    return seconds, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024


def whole_program() -> None:
    """Help, and drafts of growing length; each child is larger than all before it, so the peak is its own."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        print(f"--help: {min(program(['--help'])[0] for _ in range(5)):.2f} s")
        for length_s in (20, 180, 1800):
            wave, rate = all_samples(length_s)
            take = folder / f"take_{length_s}.flac"
            sf.write(take, wave, rate)
            seconds, peak = program(["draft", str(take), "--out", str(folder), "--force", "-q"])
            print(
                f"draft of {length_s} s: {seconds:.1f} s, {length_s / seconds:.0f} times real time, "
                f"peak {peak:.0f} MB"
            )


def rhythm() -> None:
    """Rhythm of long lines, nothing told: processor seconds, to grow with the notes and no faster."""
    bench = bench_lines("mixed with triplets", "fit", 1)[0]
    heard = play_bench(bench).heard
    beat_s = 60.0 / bench.line.tempo_bpm
    span_s = np.ceil((heard.notes[-1].onset_s - heard.notes[0].onset_s) / beat_s + 1) * beat_s
    for count in (500, 1000, 2000):
        rounds = -(-count // len(heard.notes))
        notes = [
            replace(note, onset_s=note.onset_s + turn * span_s, end_s=note.end_s + turn * span_s)
            for turn in range(rounds)
            for note in heard.notes
        ]
        line = replace(heard, notes=tuple(notes[:count]))
        began = time.process_time()
        write_rhythm(line)
        print(f"rhythm of {count} notes: {time.process_time() - began:.2f} s")


if __name__ == "__main__":
    whole_program()  # first, while this process is small: a child's peak includes what it was forked from
    pitch_tracker()
    rhythm()
