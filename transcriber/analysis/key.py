"""Which key a line is in, with or without its chords.

Task: from the pitches of a line, how long each is held and where phrases end, the likeliest tonic and mode.
Each mode has palettes, sets of degrees that lines in it are played from (the whole scale, a pentatonic, the
blues scale). The notes' likelihood under a palette is a multinomial, so that a small palette that holds all
notes is preferred to a large one; a bend counts as the pitch it goes to, and a note that leads up to the next
by a half step stands outside more readily. Phrase ends and the last note speak for the tonic, chords by
`chord_evidence` (after the idea of key profiles in Krumhansl 1990; palettes and figures are this project's).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from transcriber.analysis.chord_evidence import PRICES, WITH_MAJOR_THIRD, WORTHS, chord_evidence
from transcriber.analysis.key_model import KeyModel, KeyParameters, Palette, shipped_key_model
from transcriber.analysis.scales import MAJOR, MODE_DEGREE, Scale, scale_on
from transcriber.records.analysed import ChordSpan, KeyFound, KeyMode, LinePoint

FloatArray = npt.NDArray[np.float64]
CONFIDENCE_DECIMALS = 3
# A line ends on the tonic, or half as tellingly on its third or fifth.
_THIRD_OR_FIFTH = 0.5
# Pitch class by (tonic, semitones above it).
_FROM_EACH_TONIC = (np.arange(12)[:, None] + np.arange(12)) % 12


@dataclass(frozen=True)
class KeyEvidence:
    """All that is looked at in a line.

    Attributes
    ----------
    held, leading : array, shape (12,)
        How much each pitch class is heard: a half for each note and its length in beats; of the notes that
        stand, and of those that lead up to the next by a half step.
    ends : tuple of int
        Pitch classes of the last notes of the phrases, in order.
    chords : array, shape (modes, 12 tonics, columns), or None
        See `chord_evidence`.
    """

    held: FloatArray
    leading: FloatArray
    ends: tuple[int, ...]
    chords: FloatArray | None


def find_key(
    points: Sequence[LinePoint],
    phrases: Sequence[tuple[int, int]],
    chords: Sequence[ChordSpan] = (),
) -> KeyFound:
    """Find the key of a line.

    Parameters
    ----------
    points : sequence of LinePoint
    phrases : sequence of (int, int)
        First note of each phrase and the one after its last.
    chords : sequence of ChordSpan
        Empty where they are not known.

    Returns
    -------
    KeyFound
        The likeliest key of the likeliest signature, whose share is the confidence; C major at confidence 0
        for a line without pitches.
    """
    model = shipped_key_model()
    if not any(point.goal_midi is not None for point in points):
        return described_key(Scale("C", "major"), points, 0.0)
    modes = model.modes
    scores = key_scores(evidence_of(points, phrases, chords, model), model)
    weights = np.exp(scores - scores.max())
    weights /= weights.sum()
    by_parent = parent_shares(modes, weights)
    parents = np.stack([_parents(mode) for mode in modes])
    likely = np.where(parents == int(np.argmax(by_parent)), weights, -1.0)
    row, tonic = np.unravel_index(int(np.argmax(likely)), likely.shape)
    confidence = round(float(by_parent.max()), CONFIDENCE_DECIMALS)
    return described_key(scale_on(int(tonic), modes[int(row)]), points, confidence)


def evidence_of(
    points: Sequence[LinePoint],
    phrases: Sequence[tuple[int, int]],
    chords: Sequence[ChordSpan],
    model: KeyModel,
) -> KeyEvidence:
    """Gather the evidence; parameters are those of `find_key`."""
    held, leading = class_weights(points, model.parameters.longest)
    ends = (_last_goal(points[first:stop]) for first, stop in phrases or [(0, len(points))])
    return KeyEvidence(
        held,
        leading,
        tuple(goal % 12 for goal in ends if goal is not None),
        chord_evidence(model.modes, chords) if chords else None,
    )


def key_scores(evidence: KeyEvidence, model: KeyModel) -> FloatArray:
    """Log scores of all keys, shape (modes of the model, 12 tonics)."""
    scores = note_scores(evidence, model)
    return scores if evidence.chords is None else scores + chord_scores(evidence.chords, model.parameters)


def note_scores(evidence: KeyEvidence, model: KeyModel) -> FloatArray:
    """Log scores from the notes alone, shape (modes of the model, 12 tonics)."""
    return np.stack([_mode_scores(mode, evidence, model) for mode in model.modes])


def chord_scores(chords: FloatArray, parameters: KeyParameters) -> FloatArray:
    """Log scores from the columns of `chord_evidence` alone, shape (modes, 12 tonics)."""
    worth = [-getattr(parameters, name) for name in PRICES]
    worth += [getattr(parameters, name) for name in WORTHS]
    return np.asarray(chords @ np.array(worth), dtype=np.float64)


def parent_shares(modes: Sequence[KeyMode], weights: FloatArray) -> FloatArray:
    """Weight of each signature, by the pitch class of its major scale."""
    shares = np.zeros(12)
    for mode, row in zip(modes, weights, strict=True):
        np.add.at(shares, _parents(mode), row)
    return shares


def _parents(mode: KeyMode) -> npt.NDArray[np.int64]:
    """Pitch class of the parent major scale, for every tonic of a mode."""
    return (np.arange(12) - MAJOR[MODE_DEGREE[mode]]) % 12


def described_key(
    scale: Scale, points: Sequence[LinePoint], confidence: float, given: bool = False
) -> KeyFound:
    """Describe a key with its relative and the pitches of the line that stand outside it."""
    classes = {point.goal_midi % 12 for point in points if point.goal_midi is not None}
    outside = sorted(classes - scale.classes, key=lambda each: (each - scale.tonic_class) % 12)
    names = tuple(scale.spell(each)[0] for each in outside)
    return KeyFound(scale.tonic, scale.mode, confidence, scale.relative, names, given)


def class_weights(points: Sequence[LinePoint], longest: float) -> tuple[FloatArray, FloatArray]:
    """How much each pitch class is heard, in notes that stand and in those that lead up by a half step."""
    held, leading = np.zeros(12), np.zeros(12)
    sounding = [(point.goal_midi, point.length) for point in points if point.goal_midi is not None]
    for (goal, length), (after, _) in pairwise([*sounding, *sounding[-1:]]):
        weights = leading if after - goal == 1 else held
        weights[goal % 12] += 0.5 + 0.5 * min(float(length), longest)
    return held, leading


def _mode_scores(mode: KeyMode, evidence: KeyEvidence, model: KeyModel) -> FloatArray:
    """Log score of the twelve tonics of a mode, from the notes alone."""
    mine = [palette for palette in model.palettes if palette.mode == mode]
    by_palette = np.stack([_palette_scores(palette, evidence, model.parameters) for palette in mine])
    highest = by_palette.max(axis=0)
    scores = highest + np.log(np.exp(by_palette - highest).sum(axis=0))
    third = 4 if mode in WITH_MAJOR_THIRD else 3
    return np.asarray(scores + _ending_scores(evidence.ends, third, model.parameters), dtype=np.float64)


def _palette_scores(palette: Palette, evidence: KeyEvidence, parameters: KeyParameters) -> FloatArray:
    emphasis = {0: parameters.tonic, 3: parameters.third, 4: parameters.third, 7: parameters.fifth}
    shares = np.array([emphasis.get(degree, 1.0) for degree in palette.degrees])
    told = np.zeros(12)
    for weights, outside in (
        (evidence.held, parameters.outside),
        (evidence.leading, parameters.approach),
    ):
        likely = np.full(12, outside / (12 - len(palette.degrees)))
        likely[list(palette.degrees)] = (1.0 - outside) * shares / shares.sum()
        told += weights[_FROM_EACH_TONIC] @ np.log(likely)
    return np.asarray(np.log(palette.prior) + parameters.evidence * told, dtype=np.float64)


def _ending_scores(ends: Sequence[int], third: int, parameters: KeyParameters) -> FloatArray:
    """What the last note of the line and those of its phrases say for each tonic."""
    scores = np.zeros(12)
    for place, goal in enumerate(ends):
        weight = parameters.phrase_end / len(ends)
        if place == len(ends) - 1:
            weight += parameters.last
        for degree, share in ((0, 1.0), (third, _THIRD_OR_FIFTH), (7, _THIRD_OR_FIFTH)):
            scores[(goal - degree) % 12] += weight * share
    return scores


def _last_goal(points: Sequence[LinePoint]) -> int | None:
    return next((point.goal_midi for point in reversed(points) if point.goal_midi is not None), None)
