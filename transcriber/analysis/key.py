"""Which key a line is in, with or without its chords.

Task: from the pitches of a line, how long each is held and where phrases end, the likeliest tonic and mode.
Each mode has palettes, sets of degrees that lines in it are played from (the whole scale, a pentatonic, the
blues scale). The notes' likelihood under a palette is a multinomial, so that a small palette that holds all
notes is preferred to a large one; a bend counts as the pitch it goes to. Phrase ends and the last note speak
for the tonic. Chords speak by the notes they share with the scale and by the tonic's place among them
(after the idea of key profiles in Krumhansl 1990; the palettes and figures are this project's).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from transcriber.analysis.chords import parse_chord
from transcriber.analysis.scales import MAJOR, MODE_DEGREE, Scale, scale_on
from transcriber.models import load_model
from transcriber.records.analysed import ChordSpan, KeyFound, KeyMode, LinePoint

FloatArray = npt.NDArray[np.float64]
CONFIDENCE_DECIMALS = 3
# Chords in minor are built on the raised sixth and seventh too (melodic minor).
_RAISED_SIXTH, _RAISED_SEVENTH = 9, 11


@dataclass(frozen=True)
class Palette:
    """Degrees (semitones above the tonic) that lines of a mode are played from, and how common that is."""

    mode: KeyMode
    degrees: tuple[int, ...]
    prior: float


@dataclass(frozen=True)
class KeyParameters:
    """Parameters of the search; see ``models/key.json`` for how each was come by.

    Attributes
    ----------
    outside : float
        Share of notes outside the palette.
    tonic, third, fifth : float
        How much commoner these degrees are than the other ones of the palette.
    evidence : float
        Exponent on the notes' likelihood, below 1 because neighbours are not independent.
    longest : float
        Notes longer than so many beats count no more than one of that length.
    last, phrase_end : float
        Nats for a last note, or the mean over phrase ends, that is the tonic; half of it for third and fifth.
    chord_outside, chord_sixth, chord_tonic, chord_first, chord_last : float
        Nats for each chord tone outside the scale (mean over the take), for the raised sixth in minor (as in
        IV7 of blues and funk), for the share of time on the tonic chord, for the tonic as first
        chord, and as last chord of the take.
    """

    outside: float
    tonic: float
    third: float
    fifth: float
    evidence: float
    longest: float
    last: float
    phrase_end: float
    chord_outside: float
    chord_sixth: float
    chord_tonic: float
    chord_first: float
    chord_last: float


PARAMETER_NAMES = tuple(each.name for each in fields(KeyParameters))


@dataclass(frozen=True)
class KeyModel:
    """Palettes and parameters."""

    palettes: tuple[Palette, ...]
    parameters: KeyParameters


def key_model_of(document: Mapping[str, Any]) -> KeyModel:
    """Make the model from its document."""
    palettes = tuple(
        Palette(each["mode"], tuple(each["degrees"]), float(each["prior"])) for each in document["palettes"]
    )
    parameters = KeyParameters(**{name: float(document["parameters"][name]) for name in PARAMETER_NAMES})
    return KeyModel(palettes, parameters)


@cache
def shipped_key_model() -> KeyModel:
    """Return the model that ships with the program."""
    return key_model_of(load_model("key"))


def find_key(
    points: Sequence[LinePoint],
    phrases: Sequence[tuple[int, int]],
    chords: Sequence[ChordSpan] = (),
    model: KeyModel | None = None,
) -> KeyFound:
    """Find the key of a line.

    Parameters
    ----------
    points : sequence of LinePoint
    phrases : sequence of (int, int)
        First note of each phrase and the one after its last.
    chords : sequence of ChordSpan
        Empty where they are not known.
    model : KeyModel, optional
        The shipped one if not given.

    Returns
    -------
    KeyFound
        The likeliest key of the likeliest signature, whose share is the confidence; C major at confidence 0
        for a line without pitches.
    """
    model = model or shipped_key_model()
    if not any(point.goal_midi is not None for point in points):
        return described_key(Scale("C", "major"), points, 0.0)
    modes, scores = key_scores(points, phrases, chords, model)
    weights = np.exp(scores - scores.max())
    weights /= weights.sum()
    by_parent = parent_shares(modes, weights)
    parents = np.stack([_parents(mode) for mode in modes])
    likely = np.where(parents == int(np.argmax(by_parent)), weights, -1.0)
    row, tonic = np.unravel_index(int(np.argmax(likely)), likely.shape)
    confidence = round(float(by_parent.max()), CONFIDENCE_DECIMALS)
    return described_key(scale_on(int(tonic), modes[int(row)]), points, confidence)


def key_scores(
    points: Sequence[LinePoint],
    phrases: Sequence[tuple[int, int]],
    chords: Sequence[ChordSpan],
    model: KeyModel,
) -> tuple[list[KeyMode], FloatArray]:
    """Log scores of all keys: the modes, and an array of shape (modes, 12 tonics)."""
    modes = list(dict.fromkeys(palette.mode for palette in model.palettes))
    return modes, np.stack([_mode_scores(mode, points, phrases, chords, model) for mode in modes])


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


def _mode_scores(
    mode: KeyMode,
    points: Sequence[LinePoint],
    phrases: Sequence[tuple[int, int]],
    chords: Sequence[ChordSpan],
    model: KeyModel,
) -> FloatArray:
    """Log score of the twelve tonics of a mode."""
    weights = class_weights(points, model.parameters.longest)
    mine = [palette for palette in model.palettes if palette.mode == mode]
    by_palette = np.stack([_palette_scores(palette, weights, model.parameters) for palette in mine])
    highest = by_palette.max(axis=0)
    scores = highest + np.log(np.exp(by_palette - highest).sum(axis=0))
    third = 4 if mode in ("major", "mixolydian", "lydian") else 3
    scores += _ending_scores(points, phrases, third, model.parameters)
    if chords:
        scores += _chord_scores(mode, chords, model.parameters)
    return np.asarray(scores, dtype=np.float64)


def class_weights(points: Sequence[LinePoint], longest: float) -> FloatArray:
    """How much each of the twelve pitch classes is heard: a half for each note and its length in beats."""
    weights = np.zeros(12)
    for point in points:
        if point.goal_midi is not None:
            weights[point.goal_midi % 12] += 0.5 + 0.5 * min(float(point.length), longest)
    return weights


def _palette_scores(palette: Palette, weights: FloatArray, parameters: KeyParameters) -> FloatArray:
    likely = np.full(12, parameters.outside / (12 - len(palette.degrees)))
    emphasis = {0: parameters.tonic, 3: parameters.third, 4: parameters.third, 7: parameters.fifth}
    shares = np.array([emphasis.get(degree, 1.0) for degree in palette.degrees])
    likely[list(palette.degrees)] = (1.0 - parameters.outside) * shares / shares.sum()
    logs = np.log(likely)
    turned = np.stack([np.roll(logs, tonic) for tonic in range(12)])
    return np.asarray(np.log(palette.prior) + parameters.evidence * (turned @ weights), dtype=np.float64)


def _ending_scores(
    points: Sequence[LinePoint], phrases: Sequence[tuple[int, int]], third: int, parameters: KeyParameters
) -> FloatArray:
    """What the last note of the line and those of its phrases say for each tonic."""
    scores = np.zeros(12)
    ends = [
        goal
        for goal in (_last_goal(points[first:stop]) for first, stop in phrases or [(0, len(points))])
        if goal is not None
    ]
    speaks = ((0, 1.0), (third, 0.5), (7, 0.5))
    for place, goal in enumerate(ends):
        weight = parameters.phrase_end / len(ends)
        if place == len(ends) - 1:
            weight += parameters.last
        for degree, share in speaks:
            scores[(goal - degree) % 12] += weight * share
    return scores


def _last_goal(points: Sequence[LinePoint]) -> int | None:
    return next((point.goal_midi for point in reversed(points) if point.goal_midi is not None), None)


def _chord_scores(mode: KeyMode, chords: Sequence[ChordSpan], parameters: KeyParameters) -> FloatArray:
    names = list(dict.fromkeys(chord.name for chord in chords))
    symbols = [parse_chord(name) for name in names]
    lengths = np.zeros(len(names))
    for chord in chords:
        lengths[names.index(chord.name)] += float(chord.length)
    shares = lengths / lengths.sum()
    first, last = names.index(chords[0].name), names.index(chords[-1].name)
    minor = mode not in ("major", "mixolydian", "lydian")
    steps = set(Scale("C", mode).steps) | ({_RAISED_SEVENTH} if minor else set())
    scores = np.zeros(12)
    for tonic in range(12):
        allowed = {(tonic + step) % 12 for step in steps}
        sixth = (tonic + _RAISED_SIXTH) % 12 if mode == "minor" else -1
        outside = np.array([float(len(symbol.classes - allowed - {sixth})) for symbol in symbols])
        raised = np.array([float(sixth in symbol.classes) for symbol in symbols])
        is_tonic = np.array(
            [float(symbol.root_class == tonic and (3 in symbol.steps) == minor) for symbol in symbols]
        )
        scores[tonic] -= parameters.chord_outside * float(outside @ shares)
        scores[tonic] -= parameters.chord_sixth * float(raised @ shares)
        scores[tonic] += parameters.chord_tonic * float(is_tonic @ shares)
        scores[tonic] += parameters.chord_first * is_tonic[first] + parameters.chord_last * is_tonic[last]
    return scores
