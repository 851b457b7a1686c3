"""Cut the committed recordings of this folder out of a folder of full ones.

Run as ``python make_data.py FOLDER``, where FOLDER holds ``index.csv``, ``strat_notes``, ``emily_notes``,
``green_notes``, ``takes``, ``voice`` and ``licences``. Every file is trimmed with a short fade and
stored as 16-bit FLAC; what was done to each set stands in `RECIPES` and in README.md. The script also
measures each note: where it starts (12 % of its peak) and how far it is from its label in cents.
"""

from __future__ import annotations

import csv
import re
import shutil
import sys
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soundfile as sf

HERE = Path(__file__).resolve().parent
ONSET_FRACTION_OF_PEAK = 0.12
FADE_S = 0.06


@dataclass(frozen=True)
class Recipe:
    """How the notes of one set are chosen (a pattern on the file's stem), and trimmed."""

    choose: str
    seconds: float


# Levels stay as recorded: even the quiet strat keeps its noise floor above one 16-bit step.
RECIPES = {
    "strat_notes": (
        Recipe(r"s\d_f\d\d_t1", 1.5),
        Recipe(r"s\d_f(03|05|08|12|15)_t2", 1.5),
    ),
    "emily_notes": (Recipe(r".*", 1.7),),
    "green_notes": (
        Recipe(r"twang_.*_mf_rr1", 1.5),
        Recipe(r"twang_(e|a)\d_(p|f)_rr1", 1.5),
        Recipe(r"hammer_.*_rr1", 1.2),
        Recipe(r"hammer_(e3|eb4|c5|db7)_rr2", 1.2),
    ),
}
PLAYED_TAKES_END_S = {"bend_slide_g": 3.8, "slide_g": 3.2, "glines3": 14.7, "hammer_pull_high_e": 6.0}
VOICE_END_S = 12.0
INDEX_COLUMNS = (
    "file",
    "set",
    "articulation",
    "string",
    "fret",
    "midi",
    "onset_s",
    "tuning_cents",
    "dynamic",
)


def find_onset(samples: np.ndarray, rate: int) -> float:
    """Time in seconds at which the sound first reaches 12 % of its peak."""
    level = np.abs(samples)
    return float(np.argmax(level >= ONSET_FRACTION_OF_PEAK * level.max()) / rate)


def measure_tuning(samples: np.ndarray, rate: int, midi: int, onset_s: float) -> float:
    """Distance in cents from equal temperament at 440 Hz: the median over frames 0.1 to 0.6 s after it began.

    The period is read off the squared-difference function near the labelled one, then near 2, 4 and 8
    of the periods found, which refines it (the step in cents shrinks with the lag).
    """
    labelled = rate / (440.0 * 2.0 ** ((midi - 69) / 12.0))
    found = []
    for start_s in np.arange(onset_s + 0.1, onset_s + 0.6, 0.05):
        start = int(start_s * rate)
        frame = samples[start : start + int(0.12 * rate)]
        period = labelled
        for periods, reach in ((1, 0.035), (2, 0.012), (4, 0.006), (8, 0.003)):
            period = _lag_of_best_match(frame, period * periods, reach) / periods
        found.append(1200.0 * np.log2(labelled / period))
    return float(np.median(found))


def _lag_of_best_match(frame: np.ndarray, lag: float, reach: float) -> float:
    lags = np.arange(max(2, int(lag * (1 - reach)) - 2), int(lag * (1 + reach)) + 4)
    size = len(frame) - lags[-1]
    head = frame[:size]
    difference = np.array([np.sum((head - frame[k : k + size]) ** 2) for k in lags])
    best = int(np.clip(np.argmin(difference), 1, len(lags) - 2))
    before, here, after = difference[best - 1 : best + 2]
    curvature = before - 2 * here + after
    shift = 0.5 * (before - after) / curvature if curvature > 0 else 0.0
    return float(lags[best] + np.clip(shift, -1, 1))


def trim(samples: np.ndarray, rate: int, seconds: float) -> np.ndarray:
    """Keep the first `seconds`, the last 60 ms faded out."""
    cut = samples[: int(seconds * rate)].copy()
    fade = int(FADE_S * rate)
    cut[-fade:] *= np.linspace(1.0, 0.0, fade)
    return cut


def write_flac(path: Path, samples: np.ndarray, rate: int) -> None:
    """Write 16-bit FLAC at the strongest compression."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with sf.SoundFile(path, "w", rate, 1, "PCM_16", format="FLAC", compression_level=1.0) as out:
        out.write(samples)


def dynamic_of(stem: str) -> str:
    """Read the dynamic out of a file name, ``mf`` where it names none."""
    found = re.search(r"_(p|mf|f)_rr", stem)
    return found.group(1) if found else "mf"


def cut_notes(source: Path) -> list[dict[str, object]]:
    """Cut all single notes; return the rows of the new index."""
    rows = []
    with (source / "index.csv").open(newline="") as stream:
        entries = sorted(csv.DictReader(stream), key=lambda entry: entry["file"])
    for entry in entries:
        folder, _, name = entry["file"].partition("/")
        stem = name.removesuffix(".flac")
        recipe = next((r for r in RECIPES.get(folder, ()) if re.fullmatch(r.choose, stem)), None)
        if recipe is None:
            continue
        samples, rate = sf.read(source / entry["file"])
        cut = trim(samples, rate, recipe.seconds)
        write_flac(HERE / entry["file"], cut, rate)
        onset_s = find_onset(cut, rate)
        rows.append(
            {
                "file": entry["file"],
                "set": entry["set"],
                "articulation": entry["articulation"],
                "string": entry["string"],
                "fret": entry["fret"],
                "midi": entry["midi"],
                "onset_s": f"{onset_s:.4f}",
                "tuning_cents": f"{measure_tuning(cut, rate, int(entry['midi']), onset_s):.1f}",
                "dynamic": dynamic_of(stem),
            }
        )
    return rows


def cut_takes_and_voice(source: Path) -> None:
    """Cut the played takes' long ringing tails, and the voice with its pitch curve to 12 s."""
    for name, end_s in PLAYED_TAKES_END_S.items():
        samples, rate = sf.read(source / "takes" / f"{name}.flac")
        write_flac(HERE / "takes" / f"{name}.flac", trim(samples, rate, end_s), rate)
        marks = source / "takes" / f"{name}.notes.json"
        if marks.exists():
            shutil.copyfile(marks, HERE / "takes" / marks.name)
    samples, rate = sf.read(source / "voice" / "vocadito_1.wav")
    write_flac(HERE / "voice" / "vocadito_1.flac", trim(samples, rate, VOICE_END_S), rate)
    for name in ("vocadito_1_f0.csv", "vocadito_1_notesA1.csv", "vocadito_1_notesA2.csv"):
        lines = (source / "voice" / name).read_text().splitlines()
        kept = [line for line in lines if float(line.split(",")[0]) < VOICE_END_S - FADE_S]
        (HERE / "voice" / name).write_text("\n".join(kept) + "\n")


def main(source: Path) -> None:
    """Write everything again."""
    for folder in (*RECIPES, "takes", "voice"):
        shutil.rmtree(HERE / folder, ignore_errors=True)
    rows = cut_notes(source)
    with (HERE / "index.csv").open("w", newline="") as stream:
        writer = csv.DictWriter(stream, INDEX_COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)
    cut_takes_and_voice(source)
    for text in sorted((source / "licences").glob("*.txt")):
        (HERE / "licences").mkdir(exist_ok=True)
        shutil.copyfile(text, HERE / "licences" / text.name)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python make_data.py FOLDER")
    main(Path(sys.argv[1]))
