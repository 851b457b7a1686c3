"""What a person gets who scripts general-purpose parts: the yardstick beside the project's figures.

librosa.pyin for pitch, onset_detect for attacks, beat_track for the beat, the nearest sixteenth for rhythm,
no techniques, and the lowest fret for a pitch, or with the position given the fret nearest to it (which is
already right inside one box, and so is the rule that fingering has to beat).

Results of the report split are committed in `baseline_results.json`, so that nobody waits for slow pitch
tracking: ``python -m tests.accuracy.baseline`` makes them again.
"""

from __future__ import annotations

import argparse
import json
import sys
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np

from tests.accuracy.judge import Tally, judge
from tests.accuracy.necks import GUITAR
from tests.accuracy.takes import ALL_CONDITIONS, SPLITS, JudgedTake, make_take, specs
from transcriber.records.written import Meter

RESULTS = Path(__file__).resolve().parent / "baseline_results.json"
WORKING_RATE_HZ = 22050
HOP = 256
LOWEST_HZ, HIGHEST_HZ = 75.0, 1400.0
SHORTEST_VOICED_FRAMES = 3
LINES = 2
Document = dict[str, Any]
# What may be given, and its spelling on the command line and in the results.
GIVEN = {
    "nothing": (),
    "tempo": ("tempo",),
    "position": ("position",),
    "tempo,position": ("tempo", "position"),
    "profile": ("profile",),
}


def draft_by_general_parts(sound: Path, tempos: tuple[float | None, ...], meter: Meter) -> list[Document]:
    """Draft a take with librosa, once for each tempo (None: found by beat_track); places by lowest fret."""
    import librosa

    samples, rate = librosa.load(sound, sr=WORKING_RATE_HZ)
    frequency, _, _ = librosa.pyin(samples, fmin=LOWEST_HZ, fmax=HIGHEST_HZ, sr=rate, hop_length=HOP)
    times = librosa.times_like(frequency, sr=rate, hop_length=HOP)
    onsets = librosa.onset.onset_detect(y=samples, sr=rate, hop_length=HOP, units="time")
    heard = _notes(frequency, times, onsets, len(samples) / rate)
    drafts = []
    for tempo in tempos:
        found, beats = librosa.beat.beat_track(y=samples, sr=rate, hop_length=HOP, bpm=tempo, units="time")
        bpm = float(tempo or np.atleast_1d(found)[0] or 120.0)
        drafts.append(_write(heard, bpm, np.atleast_1d(beats), meter))
    return drafts


def _notes(
    frequency: np.ndarray, times: np.ndarray, onsets: np.ndarray, duration_s: float
) -> list[tuple[float, float, int]]:
    heard = []
    for start, stop in zip(onsets, [*onsets[1:], duration_s], strict=True):
        inside = (times >= start) & (times < stop) & ~np.isnan(frequency)
        if np.count_nonzero(inside) < SHORTEST_VOICED_FRAMES:
            continue
        pitch = round(float(np.median(69 + 12 * np.log2(frequency[inside] / 440.0))))
        heard.append((float(start), float(times[inside][-1]), pitch))
    return heard


def _write(heard: list[tuple[float, float, int]], bpm: float, beats: np.ndarray, meter: Meter) -> Document:
    """Put attacks and lengths on the nearest sixteenth; the first beat found is beat 1 of a bar."""
    beat_s = 60.0 / bpm
    origin = float(beats[0]) if len(beats) else (heard[0][0] if heard else 0.0)
    steps = 6 if meter.compound else 4
    notes = []
    for number, (start, end, pitch) in enumerate(heard, 1):
        beat = _beat_of(start, beats, origin, beat_s)
        position = Fraction(round(steps * beat), steps) * meter.tap
        string, fret = min(GUITAR.places(pitch) or ((1, 0),), key=lambda place: place[1])
        notes.append(
            {
                "id": number,
                "onset_s": round(start, 4),
                "end_s": round(end, 4),
                "pitch_midi": pitch,
                "string": string,
                "fret": fret,
                "bar": int(position // meter.beats) + 1,
                "beat": str(position % meter.beats + 1),
                "length": str(Fraction(max(round(steps * (end - start) / beat_s), 1), steps) * meter.tap),
                "techniques": [],
                "confidence": {"overall": 0.5},
            }
        )
    return {"timing": {"tempo_bpm": bpm, "meter": str(meter)}, "notes": notes}


def _beat_of(time: float, beats: np.ndarray, origin: float, beat_s: float) -> float:
    if len(beats) < 2 or time < beats[0]:
        return (time - origin) / beat_s
    if time > beats[-1]:
        return len(beats) - 1 + (time - float(beats[-1])) / beat_s
    return float(np.interp(time, beats, np.arange(len(beats))))


def place_nearest(document: Document, position: int) -> Document:
    """The second baseline for places: the fret nearest the middle of the hand at the given position."""
    notes = []
    for note in document["notes"]:
        places = GUITAR.places(note["pitch_midi"]) if note["pitch_midi"] is not None else ()
        if places:
            string, fret = min(places, key=lambda place: (abs(place[1] - position - 1.5), place[1]))
            note = {**note, "string": string, "fret": fret}
        notes.append(note)
    return {**document, "notes": notes}


def measure(take: JudgedTake) -> dict[str, Tally]:
    """Judge the general parts on one take, for everything that may be given."""
    line = take.composed.line
    free, timed = draft_by_general_parts(take.sound, (None, line.tempo_bpm), line.meter)
    position = take.composed.position
    drafts = {
        "nothing": free,
        "tempo": timed,
        "position": place_nearest(free, position),
        "tempo,position": place_nearest(timed, position),
    }
    return {given: judge(take.truth, draft).tally for given, draft in drafts.items()}


def stored() -> dict[str, dict[str, Tally]]:
    """Committed results by the take's key, then by what was given."""
    if not RESULTS.exists():
        return {}
    kept = json.loads(RESULTS.read_text())["takes"]
    return {
        key: {given: Tally.from_dict(values) for given, values in by_given.items()}
        for key, by_given in kept.items()
    }


def main() -> None:
    """Run the report split and write the results; takes already there are not run again."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--lines", type=int, default=LINES, help="lines of each set and condition")
    parser.add_argument("--afresh", action="store_true", help="forget what is stored")
    arguments = parser.parse_args()
    kept = {} if arguments.afresh else stored()
    results = {}
    for spec in specs("report", SPLITS["report"], ALL_CONDITIONS, arguments.lines):
        take = make_take(spec)
        results[take.key] = kept.get(take.key) or measure(take)
        tally = results[take.key]["nothing"]
        print(f"{spec.name}: found {tally.found} of {tally.true_notes}", file=sys.stderr, flush=True)
        _store(kept | results)
    _store(results)


def _store(results: dict[str, dict[str, Tally]]) -> None:
    plain = {
        key: {given: _without_confidences(tally) for given, tally in sorted(by_given.items())}
        for key, by_given in sorted(results.items())
    }
    rows = ",\n".join(f"    {json.dumps(key)}: {json.dumps(value)}" for key, value in plain.items())
    how = "python -m tests.accuracy.baseline"
    RESULTS.write_text(f'{{\n  "made_by": "{how}",\n  "takes": {{\n{rows}\n  }}\n}}\n')


def _without_confidences(tally: Tally) -> dict[str, Any]:
    """Counts only, zeros left out; these drafts have no opinion on how sure they are."""
    bare = replace(tally, right_confidences=[], wrong_confidences=[])
    return {key: value for key, value in bare.to_dict().items() if value}


if __name__ == "__main__":
    main()
