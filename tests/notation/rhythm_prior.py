"""Starting values of ``models/rhythm.json``: hand-set from common practice in lead lines.

`fit_rhythm.py` counts and tunes from here and writes the file.
"""

from __future__ import annotations

import itertools
from typing import Any

UNITS = {
    "timing": "onset_sd_s, stray_sd_s, phase_walk_sd_s: seconds; tempo sds: ratio; cost, weight: nats",
    "tempo": "tapped beats a minute; log_sd, given_sd: natural log; given_bound, grid_ratio: ratio",
    "lengths": "shares of the written length, seconds; end_costs: [multiple in tapped beats, nats]",
    "slowing_cost": "nats for a line that slows to its end",
    "free_opening": "cost in nats of notes played freely before the beat; sd: ratio of their tempo",
    "bars": "weights: nats for one unit of a feature of transcriber/notation/cues.py; sure_from: probability",
    "grammar": "ticks of a tapped beat; weights and probabilities; first, last: tick to nats, -1 any other",
    "swing": "ratios long:short; cost in nats",
}


# What the fit pulls the weights of `cues.FEATURES` towards; 0 for those not named.
BAR_WEIGHTS = {
    "grammar": 2.0, "compound_grammar": 2.0, "tempo_squared": -8.0, "half_tempo": -1.0, "double_tempo": -1.0,
    "three_four": -2.0, "six_eight": -1.0, "twelve_eight": -1.0, "compound_gain": 2.0,
    "beat_accent": 1.0, "compound_beat_accent": 1.0, "down_long": 1.0, "bars_repeat": 1.0,
    "first_on_one": 1.0, "last_on_one": 1.0, "late_entry": -1.0,
}  # fmt: skip


def _cells(options: list[dict[tuple[int, ...], float]]) -> dict[tuple[int, ...], float]:
    """Patterns put together from one choice for each cell, weights multiplied."""
    joined: dict[tuple[int, ...], float] = {}
    for choice in itertools.product(*(cell.items() for cell in options)):
        ticks = tuple(sorted(t for part, _ in choice for t in part))
        weight = 1.0
        for _, w in choice:
            weight *= w
        joined[ticks] = joined.get(ticks, 0.0) + weight
    return joined


def _simple_patterns() -> dict[str, dict[tuple[int, ...], float]]:
    """Patterns in 120 ticks a beat; all but quintuplets are put down in 24."""
    kinds: dict[str, dict[tuple[int, ...], float]] = {
        "empty": {(): 1.0},
        "beat": {(0,): 1.0},
        "eighths": {(0, 12): 1.0},
        "offbeat": {(12,): 1.0},
        "sixteenths": {
            (0, 6, 12, 18): 1.0,
            (0, 12, 18): 0.8,
            (0, 6, 12): 0.6,
            (0, 18): 0.45,
            (0, 6, 18): 0.3,
            (0, 6): 0.2,
            (6, 12, 18): 0.2,
            (12, 18): 0.3,
            (6, 12): 0.1,
            (18,): 0.12,
            (6, 18): 0.12,
            (6,): 0.06,
        },
        "triplet": {(0, 8, 16): 1.0, (0, 16): 0.35, (0, 8): 0.2, (8, 16): 0.25, (16,): 0.08, (8,): 0.06},
    }
    known = {pattern for kind in kinds.values() for pattern in kind}
    half = {
        (0, 4, 8): 1.0,
        (0,): 0.5,
        (0, 6): 0.6,
        (): 0.15,
        (6,): 0.04,
        (4, 8): 0.12,
        (0, 4): 0.03,
        (0, 8): 0.04,
        (8,): 0.01,
        (4,): 0.01,
    }
    second = {tuple(t + 12 for t in part): w for part, w in half.items()}
    fast = _cells([half, second])
    fast[(0, 4, 8, 12, 16, 20)] = 1.5
    for size in range(1, 7):
        for subset in itertools.combinations((0, 4, 8, 12, 16, 20), size):
            fast[subset] = max(fast.get(subset, 0.0), 0.01)
    kinds["sixteenth_triplet"] = {p: w for p, w in fast.items() if p not in known and {4, 8, 16, 20} & set(p)}
    known |= set(kinds["sixteenth_triplet"])
    half = {
        (0, 3, 6, 9): 1.0,
        (0, 3, 6): 0.6,
        (0, 6, 9): 0.5,
        (0, 3): 0.3,
        (0, 9): 0.2,
        (3, 6, 9): 0.1,
        (3, 6): 0.05,
        (0,): 0.6,
        (0, 6): 0.5,
        (): 0.15,
        (6,): 0.03,
        (9,): 0.03,
        (3,): 0.02,
    }
    second = {tuple(t + 12 for t in part): w for part, w in half.items()}
    kinds["thirtyseconds"] = {p: w for p, w in _cells([half, second]).items() if p not in known}
    finer = {
        kind: {tuple(5 * t for t in p): w for p, w in patterns.items()} for kind, patterns in kinds.items()
    }
    return finer | {"quintuplet": {(0, 24, 48, 72, 96): 1.0}}


def _compound_patterns() -> dict[str, dict[tuple[int, ...], float]]:
    kinds: dict[str, dict[tuple[int, ...], float]] = {
        "empty": {(): 1.0},
        "beat": {(0,): 1.0},
        "eighths": {(0, 12, 24): 1.0, (0, 24): 1.0, (0, 12): 0.2, (12, 24): 0.2, (24,): 0.2, (12,): 0.08},
    }
    known = {pattern for kind in kinds.values() for pattern in kind}

    def eighth(options: dict[tuple[int, ...], float]) -> dict[tuple[int, ...], float]:
        cells = [{tuple(t + at for t in p): w for p, w in options.items()} for at in (0, 12, 24)]
        return {p: w for p, w in _cells(cells).items() if p not in known}

    kinds["sixteenths"] = eighth({(0,): 0.6, (0, 6): 0.5, (6,): 0.07, (): 0.25})
    known |= set(kinds["sixteenths"])
    kinds["sixteenth_triplet"] = eighth({(0,): 0.6, (0, 6): 0.4, (0, 4, 8): 0.5, (4, 8): 0.03, (): 0.2})
    known |= set(kinds["sixteenth_triplet"])
    kinds["tuplet"] = {(0, 18): 1.0, (0, 9, 18, 27): 0.6, (0, 9, 18): 0.1, (0, 18, 27): 0.15, (18,): 0.1}
    return kinds


# Rows: class of the beat before (last row: start of the take). Columns as the classes above.
_SIMPLE_FOLLOW = {
    #                     empty beat  8ths  off   16ths trip  16trip 32nds  5s
    "empty":             [0.30, 0.20, 0.17, 0.06, 0.14, 0.06, 0.060, 0.004, 0.0015],
    "beat":              [0.26, 0.18, 0.22, 0.04, 0.18, 0.07, 0.050, 0.004, 0.0015],
    "eighths":           [0.08, 0.17, 0.36, 0.07, 0.21, 0.06, 0.050, 0.004, 0.0015],
    "offbeat":           [0.14, 0.14, 0.24, 0.14, 0.20, 0.06, 0.060, 0.004, 0.0015],
    "sixteenths":        [0.09, 0.14, 0.19, 0.04, 0.42, 0.03, 0.080, 0.006, 0.0015],
    "triplet":           [0.08, 0.20, 0.15, 0.03, 0.08, 0.40, 0.050, 0.003, 0.0015],
    "sixteenth_triplet": [0.08, 0.17, 0.13, 0.03, 0.30, 0.05, 0.240, 0.006, 0.0015],
    "thirtyseconds":     [0.08, 0.17, 0.15, 0.03, 0.28, 0.03, 0.060, 0.200, 0.0015],
    "quintuplet":        [0.08, 0.17, 0.15, 0.03, 0.30, 0.03, 0.060, 0.006, 0.1500],
    "start":             [0.00, 0.22, 0.26, 0.12, 0.26, 0.08, 0.055, 0.004, 0.0015],
}  # fmt: skip
_COMPOUND_FOLLOW = {
    "empty":             [0.28, 0.24, 0.34, 0.10, 0.030, 0.01],
    "beat":              [0.24, 0.20, 0.36, 0.15, 0.030, 0.02],
    "eighths":           [0.07, 0.20, 0.47, 0.20, 0.040, 0.02],
    "sixteenths":        [0.07, 0.18, 0.35, 0.33, 0.050, 0.02],
    "sixteenth_triplet": [0.07, 0.20, 0.30, 0.23, 0.180, 0.02],
    "tuplet":            [0.07, 0.20, 0.32, 0.15, 0.030, 0.23],
    "start":             [0.00, 0.28, 0.50, 0.18, 0.030, 0.01],
}  # fmt: skip


# A pickup of one eighth is the rule in compound meter.
_COMPOUND_FIRST = {"0": 0.0, "24": 1.0, "12": 0.3, "-1": -0.6}


def grammar(
    ticks: int, patterns: dict[str, dict[tuple[int, ...], float]], follow: dict[str, list[float]]
) -> dict[str, Any]:
    kinds = list(patterns)
    listed: dict[str, Any] = {}
    for kind, weights in patterns.items():
        total = sum(weights.values())
        listed[kind] = [[list(p), round(w / total, 6)] for p, w in sorted(weights.items())]
    rows = {}
    for kind in [*kinds, "start"]:
        total = sum(follow[kind])
        rows[kind] = [round(p / total, 6) for p in follow[kind]]
    half = ticks // 2
    return {
        "ticks": ticks,
        "kinds": kinds,
        "patterns": listed,
        "follow": rows,
        "first": {"0": 0.0, str(half): -0.2, "-1": -0.6},
        "last": {"0": 0.0, str(half): -0.8, "-1": -1.4},
    }


def starting_document() -> dict[str, Any]:
    return {
        "format_version": 1,
        "units": UNITS,
        "provenance": {},
        "timing": {
            "onset_sd_s": 0.013,
            "stray_sd_s": 0.03,
            "stray_probability": 0.02,
            "phase_walk_sd_s": 0.003,
            "tempo_walk_sd": 0.012,
            "start_tempo_sd": 0.02,
            "extra_density_per_s": 0.01,
            "fresh_phase_gap_taps": 6.0,
            "fresh_phase_cost": 5.0,
            "accent_weight": 0.7,
            "ending_taps": 2.0,
            "ending_walk_sd": 0.2,
        },
        "tempo": {
            "lowest_bpm": 46.0,
            "highest_bpm": 190.0,
            "median_bpm": 108.0,
            "compound_median_bpm": 78.0,
            "log_sd": 0.21,
            "given_sd": 0.025,
            "given_bound": 1.15,
            "grid_ratio": 1.04,
        },
        "search": {
            "beam_open": 20,
            "beam_given": 40,
            "prune_note": 16.0,
            "prune_start": 40.0,
            "settled_notes": 64,
            "temper": 2.5,
        },
        "lengths": {
            "sounding_share": 0.94,
            "sounding_share_sd": 0.055,
            "end_sd_s": 0.015,
            "joined_share": 0.2,
            "joined_gap_s": 0.06,
            "end_costs": [[2, 0.0], [1, 0.2], [0.5, 0.9], [0.25, 1.8], [0.333333, 2.2], [0.166667, 3.0]],
            "longest_bars": 4,
        },
        "bars": {"weights": dict(BAR_WEIGHTS), "sure_from": 0.9},
        "slowing_cost": 1.5,
        "free_opening": {"cost": 5.0, "sd": 0.25},
        "pattern_weight": 0.8,
        "swing": {"ratios": [1.6, 2.0, 2.6], "cost": 12.0},
        "simple": grammar(120, _simple_patterns(), _SIMPLE_FOLLOW),
        "compound": grammar(36, _compound_patterns(), _COMPOUND_FOLLOW) | {"first": _COMPOUND_FIRST},
    }
