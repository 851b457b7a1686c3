"""Fit `models/picks.json` for `transcriber.practice.picks`: ``python -m tests.practice.fit_picks``.

Notes of the split ``fit`` that were picked anew on a string that still sounded, against hammer-ons and
pull-offs that were played as such; the player's own truth is the label. Nothing of ``report`` is used, but
for the figure that is printed of it with ``--report``.
"""

from __future__ import annotations

import argparse
import json
from pathlib import Path

import numpy as np
from sklearn.linear_model import LogisticRegression

from tests.practice.attempts import specs
from tests.practice.measure_check import SAME_NOTE_S, prepared
from tests.practice.strokes import JOINED, SLURS
from transcriber.practice.picks import pick_features, pick_scale
from transcriber.practice.wanted import wanted_notes

MODEL = Path(__file__).parents[2] / "models" / "picks.json"
# A student is told only of what is likely: most slurs of a line are played as such.
LEAST_SURE = 0.7


def examples(split: str, each: int) -> tuple[np.ndarray, np.ndarray]:
    """Features, and whether each note was picked."""
    features, picked = [], []
    for spec in specs(split, each):
        planted, attempt = prepared(spec)
        heard = attempt.heard.notes
        wanted = wanted_notes(planted.draft)
        found = {}
        for number, want in enumerate(wanted):
            time_s = planted.onsets.get(want.note.id, (np.nan, 0.0))[0]
            near = [note for note in heard if abs(note.onset_s - time_s) < SAME_NOTE_S]
            if near:
                found[number] = min(near, key=lambda note: abs(note.onset_s - time_s))
        scale = pick_scale(
            attempt, [note for n, note in found.items() if not wanted[n].note.has(*JOINED, "trill")]
        )
        if scale is None:
            continue
        for n, note in found.items():
            want, before = wanted[n], wanted[n - 1] if n else None
            slur = want.note.has(*SLURS)
            sounding = before is not None and before.note.string == want.note.string and n - 1 in found
            if slur or (sounding and not want.note.has(*JOINED)):
                features.append(pick_features(attempt, note, scale))
                picked.append(not slur or want.note.id in planted.mistakes["slur_picked"])
    return np.array(features), np.array(picked)


def main() -> None:
    """Fit, write and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--each", type=int, default=20)
    parser.add_argument("--report", action="store_true")
    chosen = parser.parse_args()
    features, picked = examples("fit", chosen.each)
    model = LogisticRegression(class_weight="balanced", C=1.0).fit(features, picked)
    right = round(float(model.score(features, picked)), 3)
    document = {
        "format_version": 1,
        "units": "weights: log of the odds for each measure of transcriber/practice/picks.py; "
        "least_sure: probability",
        "provenance": {
            "script": f"python -m tests.practice.fit_picks --each {chosen.each}",
            "fitted_on": f"split fit of tests/practice/attempts.py: {picked.sum()} notes picked on a "
            f"sounding string, {(~picked).sum()} slurred; right {right}",
            "by_hand": "least_sure, by F of slur_picked on the same split; measures, scales and bounds",
            "reported_by": "python -m tests.practice.measure_check, splits report and held_out: slur_picked",
        },
        "weights": [round(float(weight), 2) for weight in model.coef_[0]],
        "bias": round(float(model.intercept_[0]), 2),
        "least_sure": LEAST_SURE,
    }
    MODEL.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
    print(document)
    for bound in (0.5, 0.6, 0.7, 0.8, 0.9):
        sure = model.predict_proba(features)[:, 1] > bound
        print(f"  over {bound}: {sure[picked].mean():.3f} of picks, {sure[~picked].mean():.3f} of slurs")
    if chosen.report:
        others, true = examples("report", chosen.each)
        print(f"report: right {model.score(others, true):.3f} of {len(true)}")


if __name__ == "__main__":
    main()
