"""Fit the two decisions of `models/decisions.json`: picked or slurred, bend or slide.

Run from the repository's root: ``python -m tests.listening.fit_decisions [--lines N]``. Lines of the fit guitars
(green, and the synthesiser under several tones) are composed, made to sound and cut into pieces; each boundary and
each move is labelled by the truth it falls on. The figures in the model file are those of the guitars
kept back (strat, emily).
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import soxr
from sklearn.linear_model import LogisticRegression

from tests.accuracy.compose import CONDITIONS, compose
from tests.accuracy.note_bank import SAMPLE_RATE_HZ
from tests.accuracy.playing import play
from tests.accuracy.splice import splice
from transcriber.listening.attacks import attack_strength
from transcriber.listening.contour import semitones, tuning_reference_hz
from transcriber.listening.decisions import BEND_FEATURES, PICK_FEATURES, bend_features, pick_features
from transcriber.listening.gestures import find_gestures
from transcriber.listening.pieces import find_pieces
from transcriber.listening.pitch import PitchSettings, track_pitch
from transcriber.listening.settings import listening_settings
from transcriber.listening.strokes import filled, stand_after_s
from transcriber.records.line import Performance
from transcriber.synthesis import PlayingStyle, Tone, perform, render_performance

RATE = 22_050
FIT_SEED, REPORT_SEED = 40_000, 50_000
NEAR_S = 0.05
MODEL = Path(__file__).parents[2] / "models" / "decisions.json"


@dataclass(frozen=True)
class Example:
    """Features of one boundary or move, and whether the first reading is the truth."""

    decision: str
    features: tuple[float, ...]
    truth: bool


def sounding_lines(sets: tuple[str, ...], lines: int, seed: int) -> Iterator[tuple[Performance, np.ndarray]]:
    """Performances and their sound at 22,050 Hz, for every set and condition."""
    for set_name in sets:
        for condition in CONDITIONS:
            for index in range(lines):
                line = compose(condition, index, seed + index).line
                if set_name == "synth":
                    rng = np.random.default_rng([seed, index])
                    style = PlayingStyle(bend_s=(0.08, 0.25), slide_s_per_fret=float(rng.uniform(0.02, 0.04)))
                    tone = Tone(drive=float(rng.choice([0.0, 0.0, 0.4, 0.8])))
                    played = perform(line, style, seed + index)
                    yield played, render_performance(played, tone, seed + index, RATE)
                else:
                    played = play(line, seed + index)
                    sound = splice(played, set_name, CONDITIONS[condition].effects)
                    yield played, soxr.resample(sound, SAMPLE_RATE_HZ, RATE).astype(np.float32)


def examples_of(played: Performance, sound: np.ndarray) -> Iterator[Example]:
    """Label every boundary and move found in one take."""
    pitch_settings, settings = PitchSettings(), listening_settings()
    frame_s = pitch_settings.hop / RATE
    track = track_pitch(sound)
    pitch = semitones(track, tuning_reference_hz(track))
    pieces = find_pieces(pitch, attack_strength(sound, pitch_settings.hop, RATE), frame_s, settings)
    onsets = np.array([note.onset_s for note in played.notes])
    for piece in pieces:
        at = piece.onset * frame_s
        nearest = int(np.abs(onsets - at).argmin())
        if abs(onsets[nearest] - at) <= NEAR_S and abs(piece.signs.change) >= settings.same_pitch:
            yield Example("picked", pick_features(piece.signs), played.notes[nearest].picked)
        contour = filled(pitch[piece.first : piece.last])
        for move in find_gestures(contour, frame_s, settings).moves:
            middle = (piece.first + (move.first + move.last) / 2) * frame_s
            label = _moved_by(played, middle)
            if label is not None:
                stands = stand_after_s(move, contour, frame_s)
                yield Example("bend", bend_features(move, frame_s, stands), label)


def _moved_by(played: Performance, time_s: float) -> bool | None:
    """True if a string was bent at this time, False if a finger slid, None if neither."""
    for note in played.notes:
        for technique in note.techniques:
            if technique.start_s is None or technique.end_s is None:
                continue
            if technique.start_s - 0.02 <= time_s <= technique.end_s + 0.02:
                if technique.kind in ("bend", "release"):
                    return True
                if technique.kind == "slide":
                    return False
    return None


def collect(sets: tuple[str, ...], lines: int, seed: int) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Features (n, k) and truths (n,) of both decisions."""
    found = [
        example for played, sound in sounding_lines(sets, lines, seed) for example in examples_of(played, sound)
    ]
    return {
        name: (
            np.array([e.features for e in found if e.decision == name]),
            np.array([e.truth for e in found if e.decision == name]),
        )
        for name in ("picked", "bend")
    }


def main() -> None:
    """Fit, report and write the model file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=10, help="lines for each set and condition")
    lines = parser.parse_args().lines
    fit = collect(("green", "synth"), lines, FIT_SEED)
    report = collect(("strat", "emily"), max(lines // 2, 1), REPORT_SEED)
    decisions = {}
    for name, features in (("picked", PICK_FEATURES), ("bend", BEND_FEATURES)):
        values, truths = fit[name]
        means, scales = values.mean(axis=0), values.std(axis=0) + 1e-6
        model = LogisticRegression(C=1.0, class_weight="balanced", max_iter=1000).fit(
            (values - means) / scales, truths
        )
        held, held_truths = report[name]
        guessed = model.predict((held - means) / scales)
        right = {str(label): round(float((guessed == held_truths)[held_truths == label].mean()), 3) for label in (True, False)}
        print(name, "fit", len(truths), round(model.score((values - means) / scales, truths), 3))
        print(name, "kept back", len(held_truths), right)
        for feature, weight in zip(features, model.coef_[0], strict=True):
            print(f"    {feature:16s} {weight:+.2f}")
        decisions[name] = {
            "features": list(features),
            "means": [round(float(v), 4) for v in means],
            "scales": [round(float(v), 4) for v in scales],
            "weights": [round(float(v), 4) for v in model.coef_[0]],
            "bias": round(float(model.intercept_[0]), 4),
            "kept_back": {"examples": len(held_truths), "share_right_by_truth": right},
        }
    document = {
        "format_version": 1,
        "units": "log odds over standardised features; see transcriber/listening/decisions.py",
        "provenance": {
            "script": f"python -m tests.listening.fit_decisions --lines {lines}",
            "fitted_on": "green_notes and the synthesiser",
            "kept_back": "strat_notes and emily_notes",
        },
        "decisions": decisions,
    }
    MODEL.write_text(json.dumps(document, indent=2) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
