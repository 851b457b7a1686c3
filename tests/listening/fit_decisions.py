"""Fit the decisions of `models/decisions.json`: picked or slurred, picked again or held, bend or slide.

Run from the repository's root: ``python -m tests.listening.fit_decisions [--lines N]``. Lines of the fit
guitars (green, and the synthesiser under several tones) are composed, made to sound and cut into pieces;
each boundary and each move is labelled by the truth it falls on. The figures in the model file are those of
the guitars kept back (strat, emily).
"""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import numpy as np
import soundfile as sf
import soxr
from scipy import signal
from sklearn.ensemble import HistGradientBoostingClassifier

from tests.accuracy.compose import CONDITIONS, compose
from tests.accuracy.note_bank import SAMPLE_RATE_HZ
from tests.accuracy.playing import play
from tests.accuracy.splice import splice
from tests.listening.phenomena import PHENOMENA
from tests.listening.phenomena_sounds import phenomenon_take
from transcriber.listening.decisions import FEATURES, bend_features, pick_features, repick_features
from transcriber.listening.listen import Measured, measure
from transcriber.listening.pieces import PickDecisions, find_pieces
from transcriber.listening.pitch import PitchSettings
from transcriber.listening.settings import listening_settings
from transcriber.listening.signs import Signs
from transcriber.listening.strokes import filled, read_gestures, stand_after_s
from transcriber.records.line import Performance
from transcriber.records.take import Take
from transcriber.synthesis import PlayingStyle, Tone, perform, render_performance

RATE = 22_050
FIT_SEED, REPORT_SEED = 40_000, 50_000
NEAR_S = 0.05
SLURRED_TAKE = Path(__file__).parents[1] / "data" / "takes" / "hammer_pull_high_e.flac"
SLURRED_TAKE_WEIGHT = 3  # one real take against many made ones
FITTED_ON = (
    "lines and single phenomena on green_notes and the synthesiser, plain and recoloured; "
    "takes/hammer_pull_high_e"
)
MODEL = Path(__file__).parents[2] / "models" / "decisions.json"


@dataclass(frozen=True)
class Example:
    """Features of one boundary or move, and whether the first reading is the truth."""

    decision: str
    features: tuple[float, ...]
    truth: bool


# Share of the first reading that the fit assumes, about that of lead playing; the lines' own shares say
# nothing.
FIRST_READING = {"picked": 0.87, "repicked": 0.3, "bend": 0.65}
# Signs that can only speak for the first reading (1) or against it (-1), whatever the guitar.
_ATTACK = {"rise": 1, "relative_rise": 1, "jump_db": 1, "dip_db": 1, "high_jump_db": 1}
DIRECTIONS: dict[str, dict[str, int]] = {
    "picked": {**_ATTACK, "relative_high_db": 1, "change": 1},
    "repicked": {**_ATTACK, "clarity_dip": 1},
    "bend": {"fret_halt": -1, "off_fret": 1},
}
# A swelled note has no attack that could teach what a pick sounds like; two notes are not told apart here.
LEFT_OUT = ("swelled", "double stop")


def sounding_lines(sets: tuple[str, ...], lines: int, seed: int) -> Iterator[tuple[Performance, np.ndarray]]:
    """Performances and their sound at 22,050 Hz, for every set and condition."""
    for set_name in sets:
        for condition in CONDITIONS:
            # Techniques are rare in most conditions; lines full of them are asked for more often.
            for index in range(lines * (6 if condition == "techniques" else 1)):
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


def measured(wave: np.ndarray) -> Measured:
    """Measure a take as the listening stage does."""
    take = Take(wave, RATE, 0.0, "", "", RATE, len(wave) / RATE)
    return measure(take, PitchSettings())


def phenomena(sets: tuple[str, ...], lines: int, seed: int) -> Iterator[tuple[Performance, np.ndarray]]:
    """Performances and sound of the lines of single phenomena."""
    for set_name in sets:
        for name in [name for name in PHENOMENA if name not in LEFT_OUT]:
            for index in range(lines):
                try:
                    played, sound, _ = phenomenon_take(name, set_name, seed + index)
                except ValueError:  # the set has no recorded note near one of the line's
                    continue
                yield played, sound


def recoloured(wave: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """The same take through another pickup and amplifier: a peak, and a roll-off above it."""
    cut = signal.butter(2, float(rng.uniform(1_500, 7_000)), "lowpass", fs=RATE, output="sos")
    peak = float(rng.uniform(400, 3_000))
    band = signal.butter(1, (peak / 1.4, peak * 1.4), "bandpass", fs=RATE, output="sos")
    out = signal.sosfilt(cut, wave + float(rng.uniform(0, 2)) * signal.sosfilt(band, wave))
    return (out * 0.5 / max(float(np.abs(out).max()), 1e-9)).astype(np.float32)


def examples_of(played: Performance, wave: np.ndarray) -> Iterator[Example]:
    """Label every boundary and move found in one take."""
    settings, seen = listening_settings(), measured(wave)
    sound = seen.sound
    frame_s = sound.frame_s
    onsets = np.array([note.onset_s for note in played.notes])
    held: list[Signs] = []

    def judge_by_truth(signs: Signs) -> float:
        held.append(signs)
        return 1.0 if np.abs(onsets - signs.frame * frame_s).min() <= NEAR_S else -1.0

    pieces = find_pieces(sound, settings, PickDecisions(lambda _: 1.0, judge_by_truth))
    for signs in tuple(held):
        yield Example("repicked", repick_features(signs), judge_by_truth(signs) > 0)
    for piece in pieces:
        at = piece.onset * frame_s
        nearest = int(np.abs(onsets - at).argmin())
        if (
            abs(onsets[nearest] - at) <= NEAR_S
            and abs(piece.signs.change) >= settings.same_pitch
            and piece.signs.gap_s < settings.picked_gap_s
        ):
            yield Example("picked", pick_features(piece.signs), played.notes[nearest].picked)
        contour = filled(sound.pitch[piece.first : piece.last])
        for move in read_gestures(piece, contour, seen.window, seen.hop, settings).moves:
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
                if technique.kind in ("slide", "slide_in", "slide_out"):
                    return False
    return None


def examples_of_slurred_take() -> Iterator[Example]:
    """Boundaries of a real take in which one pick is followed by hammer-ons and pull-offs alone."""
    wave, rate = sf.read(SLURRED_TAKE, dtype="float32")
    wave = soxr.resample(wave, rate, RATE).astype(np.float32)
    sound = measured(wave).sound
    settings = listening_settings()
    pieces = find_pieces(sound, settings, PickDecisions(lambda _: -1.0, lambda _: -1.0))
    for piece in pieces[1:]:
        if abs(piece.signs.change) >= settings.same_pitch:
            yield Example("picked", pick_features(piece.signs), False)


def collect(
    sets: tuple[str, ...], lines: int, seed: int, recolour: bool
) -> dict[str, tuple[np.ndarray, np.ndarray]]:
    """Features (n, k) and truths (n,) of all decisions."""
    rng = np.random.default_rng(seed)
    found: list[Example] = []
    for played, sound in chain(sounding_lines(sets, lines, seed), phenomena(sets, max(lines // 2, 1), seed)):
        found += examples_of(played, sound)
        if recolour:
            found += examples_of(played, recoloured(sound, rng))
    return {
        name: (
            np.array([e.features for e in found if e.decision == name]),
            np.array([e.truth for e in found if e.decision == name]),
        )
        for name in FEATURES
    }


def fit_one(name: str, values: np.ndarray, truths: np.ndarray) -> HistGradientBoostingClassifier:
    """Fit one decision, monotone in the signs whose direction is known, at the shares of `FIRST_READING`."""
    share = FIRST_READING[name]
    weights = np.where(truths, share / truths.mean(), (1 - share) / (1 - truths.mean()))
    return HistGradientBoostingClassifier(
        max_iter=60,
        max_depth=4,
        learning_rate=0.1,
        min_samples_leaf=20,
        l2_regularization=1.0,
        monotonic_cst=[DIRECTIONS[name].get(feature, 0) for feature in FEATURES[name]],
        early_stopping=False,
        random_state=0,
    ).fit(values, truths, sample_weight=weights)


def exported(model: HistGradientBoostingClassifier, features: tuple[str, ...]) -> dict[str, object]:
    """The ensemble as plain lists; leaves already hold the learning rate."""
    trees = []
    for (predictor,) in model._predictors:
        nodes = predictor.nodes
        trees.append(
            {
                "features": [-1 if n["is_leaf"] else int(n["feature_idx"]) for n in nodes],
                "thresholds": [-2.0 if n["is_leaf"] else round(float(n["num_threshold"]), 4) for n in nodes],
                "left": [-1 if n["is_leaf"] else int(n["left"]) for n in nodes],
                "right": [-1 if n["is_leaf"] else int(n["right"]) for n in nodes],
                "values": [round(float(n["value"]), 4) for n in nodes],
            }
        )
    prior = round(float(np.ravel(model._baseline_prediction)[0]), 4)
    return {"features": list(features), "prior": prior, "rate": 1.0, "trees": trees}


def main() -> None:
    """Fit, report and write the model file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=4, help="lines for each set and condition")
    lines = parser.parse_args().lines
    fit = collect(("green", "synth"), lines, FIT_SEED, recolour=True)
    slurred = np.array([example.features for example in examples_of_slurred_take()])
    fit["picked"] = (
        np.concatenate([fit["picked"][0], np.repeat(slurred, SLURRED_TAKE_WEIGHT, axis=0)]),
        np.concatenate([fit["picked"][1], np.zeros(SLURRED_TAKE_WEIGHT * len(slurred), bool)]),
    )
    report = collect(("strat", "emily"), max(lines // 2, 1), REPORT_SEED, recolour=False)
    decisions = {}
    for name, features in FEATURES.items():
        model = fit_one(name, *fit[name])
        held, truths = report[name]
        guessed = model.predict(held)
        right = {
            str(label): round(float((guessed == truths)[truths == label].mean()), 3)
            for label in (True, False)
        }
        print(f"{name}: fitted on {len(fit[name][1])}, kept back {len(truths)}, right by truth {right}")
        decisions[name] = exported(model, features)
        decisions[name]["kept_back"] = {"examples": len(truths), "share_right_by_truth": right}
    document = {
        "format_version": 1,
        "units": "log odds; see transcriber/listening/decisions.py",
        "provenance": {
            "script": f"python -m tests.listening.fit_decisions --lines {lines}",
            "fitted_on": FITTED_ON,
            "kept_back": "strat_notes and emily_notes",
        },
        "decisions": decisions,
    }
    MODEL.write_text(compact(document), encoding="utf-8")


def compact(document: dict[str, object]) -> str:
    """JSON with every innermost list on one line."""
    text = json.dumps(document, indent=1)
    return re.sub(r"\[[^\[\]{}]*\]", lambda m: " ".join(m.group().split()), text) + "\n"


if __name__ == "__main__":
    main()
