"""Print how often notes are placed as played on takes that lost their high partials or some of their sound.

    python -m tests.fretboard.place_lossy [--lines N]

Lines of the fit split, spliced from recording 1 of the strat, profiled from its recording 2: clean,
low-passed at 3.5 kHz, sampled at 8 kHz as by telephone, and through lossy codecs at their small sizes.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr
from scipy import signal

from tests.accuracy.profiles import PROFILED_SET
from tests.accuracy.takes import JudgedTake, make_take, specs
from tests.fretboard.place_table import count_notes
from transcriber.audio import read_take
from transcriber.fretboard import read_instrument
from transcriber.listening import listen

CONDITIONS = ("straight", "triplets", "techniques", "dynamics", "waltz")
READINGS = ("nothing", "position", "profiled")
LOW_PASS_HZ, TELEPHONE_HZ, OPUS_HZ = 3500.0, 8000, 48000
SMALL = 0.9  # compression level, 0 (largest files) to 1
Writer = Callable[[np.ndarray, int, Path], Path]


def _clean(sound: np.ndarray, rate: int, stem: Path) -> Path:
    return _written(stem.with_suffix(".wav"), sound, rate)


def _low_passed(sound: np.ndarray, rate: int, stem: Path) -> Path:
    low = signal.butter(8, LOW_PASS_HZ, "lowpass", fs=rate, output="sos")
    return _written(stem.with_suffix(".wav"), signal.sosfilt(low, sound), rate)


def _telephone(sound: np.ndarray, rate: int, stem: Path) -> Path:
    return _written(stem.with_suffix(".wav"), soxr.resample(sound, rate, TELEPHONE_HZ), TELEPHONE_HZ)


def _vorbis(sound: np.ndarray, rate: int, stem: Path) -> Path:
    return _written(stem.with_suffix(".ogg"), sound, rate, "OGG", "VORBIS")


def _mp3(sound: np.ndarray, rate: int, stem: Path) -> Path:
    return _written(stem.with_suffix(".mp3"), sound, rate, "MP3", "MPEG_LAYER_III")


def _opus(sound: np.ndarray, rate: int, stem: Path) -> Path:
    return _written(stem.with_suffix(".opus"), soxr.resample(sound, rate, OPUS_HZ), OPUS_HZ, "OGG", "OPUS")


def _written(
    path: Path, sound: np.ndarray, rate: int, container: str | None = None, codec: str | None = None
) -> Path:
    if container is None:
        sf.write(path, sound, rate)
    else:
        sf.write(path, sound, rate, format=container, subtype=codec, compression_level=SMALL)
    return path


WRITERS: dict[str, Writer] = {
    "clean": _clean,
    "low-passed": _low_passed,
    "telephone": _telephone,
    "Vorbis": _vorbis,
    "MP3": _mp3,
    "Opus": _opus,
}


def takes(lines: int) -> list[JudgedTake]:
    """Takes of the fit split in which strings can be heard."""
    return [make_take(spec) for spec in specs("fit", (PROFILED_SET,), CONDITIONS, lines)]


def count_written(take: JudgedTake, writer: Writer) -> Counter:
    """Found notes placed as played, by reading, of a take written in one way."""
    sound, rate = sf.read(take.sound, dtype="float32")
    with tempfile.TemporaryDirectory() as folder:
        path = writer(sound, rate, Path(folder) / "take")
        notes = listen(read_take(path), read_instrument("standard")).notes
    return count_notes(take, notes)


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=2, help="lines of each condition")
    chosen = takes(parser.parse_args().lines)
    for name, writer in WRITERS.items():
        total = sum((count_written(take, writer) for take in chosen), Counter())
        shares = "  ".join(f"{reading} {total[reading] / total['found']:.3f}" for reading in READINGS)
        print(f"{name:12s}{shares}  ({total['found']} notes, {len(chosen)} lines)")


if __name__ == "__main__":
    main()
