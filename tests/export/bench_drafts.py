"""Drafts made of the truth of the bench's lines: a flawless draft of each, without any listening."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np

ROOT = str(Path(__file__).resolve().parents[2])
if ROOT not in sys.path:
    sys.path.insert(0, ROOT)

from tests.accuracy.compose import CONDITIONS, compose  # noqa: E402
from tests.accuracy.handwritten import handwritten  # noqa: E402
from tests.accuracy.playing import play  # noqa: E402
from tests.accuracy.takes import SETS, SPLIT_SEEDS  # noqa: E402
from transcriber.draft import FORMAT_VERSION, Draft, parse_draft  # noqa: E402
from transcriber.records.line import Line, Performance  # noqa: E402
from transcriber.synthesis import truth_document  # noqa: E402

SURE = dict.fromkeys(("pitch", "onset", "place", "rhythm", "technique", "overall"), 1.0)
STEP_S = 0.01


def bench_lines(each: int) -> Iterator[tuple[str, Line, int]]:
    """Name, line and seed of the bench's lines: `each` of every condition, split and guitar; all by hand."""
    for split, seed in SPLIT_SEEDS.items():
        for place, name in enumerate(SETS):
            for condition in CONDITIONS:
                for number in range(each):
                    line = compose(condition, number, seed + place).line
                    yield f"{split}-{name}-{condition}-{number}", line, seed + 100 * place + number
    for number, composed in enumerate(handwritten()):
        yield f"written-{number}", composed.line, number


def truth_draft(line: Line, seed: int) -> Draft:
    """The draft that knows everything, by way of the document, so that it is checked."""
    performance = play(line, seed)
    document = truth_document(performance)
    document["format_version"] = FORMAT_VERSION
    document["made_by"] = {"version": "0", "options": {}, "models_sha256": "0" * 64}
    ends_s = max(*(note["end_s"] for note in document["notes"]), *document["timing"]["beats_s"])
    document["source"] = {
        "file": f"{document.pop('title')}.wav",
        "sha256": "0" * 64,
        "sample_rate_hz": 44100,
        "duration_s": round(ends_s + 1.0, 4),
    }
    document |= {"key": None, "chords": [], "phrases": [], "shapes": [], "issues": []}
    for number, note in enumerate(document["notes"]):
        note["id"] = f"n{number + 1:03d}"
        note |= {"remark": None, "confidence": SURE, "alternatives": []}
        note["contour"] = _contour(performance, number, note["onset_s"], note["end_s"])
    return parse_draft(json.dumps(document).encode())


def _contour(performance: Performance, number: int, onset_s: float, end_s: float) -> dict[str, list[float]]:
    played = performance.notes[number]
    times = np.arange(onset_s, end_s, STEP_S)
    heights = np.interp(times, played.curve_times_s, played.curve_semitones)
    return {
        "times_s": [round(float(time), 4) for time in times],
        "cents": [round(100 * float(height), 1) for height in heights],
    }
