"""Fit `models/confidence.json`: how likely each aspect of a drafted note is right.

Run from the repository's root: ``python -m tests.accuracy.fit_confidence [--lines N]``. Takes of the fit
split are drafted, with and without tempo and position given, with the stages' measures left as they are; one
logistic curve for each aspect is fitted to what the judge found. The report split is not touched here.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import replace
from pathlib import Path
from unittest import mock

import numpy as np
from sklearn.linear_model import LogisticRegression

from tests.accuracy.compose import CONDITIONS
from tests.accuracy.drafters import draft_by_project
from tests.accuracy.judge import Pair, judge
from tests.accuracy.takes import STRINGS_TOLD, make_take, specs
from transcriber.draft.calibration import AS_MEASURED

MODEL = Path(__file__).parents[2] / "models" / "confidence.json"
FIT_SETS = ("green", "synth")
# Rhythm was fitted to the first lines of this split, and is surer there than it may be.
UNSEEN = 100
GIVEN: tuple[tuple[str, ...], ...] = ((), ("tempo", "position"))
# What the judge calls wrong, for each aspect of the draft.
FAULTS = {
    "pitch": {"extra"},
    "onset": {"extra"},
    "rhythm": {"start", "length"},
    "place": {"place"},
    "technique": {"technique"},
}
_SURE = 0.995


def pairs_of(lines: int) -> list[tuple[str, Pair]]:
    """Set and drafted note beside its truth, for the fit split, confidences as measured."""
    found: list[tuple[str, Pair]] = []
    with mock.patch("transcriber.drafting.confidence_calibration", return_value=AS_MEASURED):
        for spec in specs("fit", FIT_SETS, (*CONDITIONS, "written"), lines):
            ahead = 0 if spec.condition == "written" else UNSEEN
            take = make_take(replace(spec, index=spec.index + ahead))
            for given in GIVEN:
                judged = judge(take.truth, draft_by_project(take, given))
                found += [(spec.set_name, pair) for pair in judged.pairs if pair.draft is not None]
    return found


def fit_curve(measures: np.ndarray, right: np.ndarray) -> dict[str, float]:
    """Slope and offset of the logistic curve; the slope is never below 0.05, so that order is kept."""
    if right.all():
        right = np.append(right, False)  # no aspect is certain beyond the number of notes seen
        measures = np.append(measures, np.median(measures))
    bounded = np.clip(measures, 1 - _SURE, _SURE)
    logit = np.log(bounded / (1 - bounded))
    model = LogisticRegression(C=10.0).fit(logit[:, None], right)
    slope = max(float(model.coef_[0, 0]), 0.05)
    return {"slope": round(slope, 4), "offset": round(float(model.intercept_[0]), 4)}


def main() -> None:
    """Fit and write the model file."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=6, help="lines for each set and condition")
    lines = parser.parse_args().lines
    pairs = pairs_of(lines)
    curves = {}
    for aspect, faults in FAULTS.items():
        # An extra note has no place or rhythm to be right or wrong about.
        kept = [pair for _, pair in pairs if pair.truth is not None or "extra" in faults]
        if aspect == "place":
            kept = [pair for name, pair in pairs if pair.truth is not None and name in STRINGS_TOLD]
        measures = np.array([pair.draft["confidence"][aspect] for pair in kept if pair.draft])
        right = np.array([not faults & set(pair.wrong) for pair in kept])
        curves[aspect] = fit_curve(measures, right)
        print(f"{aspect:10s} right {right.mean():.3f} of {len(right)}  {curves[aspect]}")
    document = {
        "format_version": 1,
        "units": "probability; see transcriber/draft/calibration.py",
        "provenance": {
            "script": f"python -m tests.accuracy.fit_confidence --lines {lines}",
            "fitted_on": "fit split of tests/accuracy (green, synth), lines that rhythm was not fitted to, "
            "with and without tempo and position",
            "notes": len(pairs),
            "reported_by": "python -m tests.accuracy.run --split report, honesty AUC and sure and right",
        },
        "curves": curves,
    }
    MODEL.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
