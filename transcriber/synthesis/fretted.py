"""Pitch changes that frets make: slides, slurs and trills, in steps from fret to fret.

Heights are semitones against the pitch of the note itself, so every change ends (or begins) on 0.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from transcriber.records.technique import Technique
from transcriber.synthesis.gestures import step_curve, trill_curve
from transcriber.synthesis.line_check import SLURS
from transcriber.synthesis.style import PlayingStyle

FloatArray = npt.NDArray[np.float64]

_SLIDE_CHANGE_S = 0.006
_SLIDE_IN_FRETS, _SLIDE_OUT_FRETS = 3, 4
_SLIDE_OUT_S = (0.14, 0.22)
_LARGEST_SHARE_OF_NOTE = 0.5


@dataclass(frozen=True)
class Span:
    """When one note sounds: `glide_s` is where the slide that leads to it begins (its onset, if none)."""

    glide_s: float
    onset_s: float
    end_s: float


@dataclass(frozen=True)
class Neck:
    """What a note's fingers can do: its fret, the last fret, and where the string's pitch came from.

    `origin_semitones` and `origin_fret` belong to the note before on the string, `origin_semitones` counted
    from the pitch of this one.
    """

    fret: int
    highest_fret: int
    origin_fret: int
    origin_semitones: float


@dataclass(frozen=True)
class FrettedChanges:
    """Points of the changes in order of time, perhaps none, and the techniques with their times."""

    times_s: FloatArray
    semitones: FloatArray
    techniques: tuple[Technique, ...]


def fretted_changes(
    techniques: tuple[Technique, ...],
    span: Span,
    neck: Neck,
    style: PlayingStyle,
    rng: np.random.Generator,
) -> FrettedChanges:
    """Plan the changes of pitch that a note's frets make.

    Parameters
    ----------
    techniques : tuple of Technique
        Of any kind; those that frets do not make are passed through unchanged.
    span : Span
    neck : Neck
    style : PlayingStyle
    rng : Generator

    Returns
    -------
    FrettedChanges
    """
    pieces: list[tuple[FloatArray, FloatArray]] = []
    timed: list[Technique] = []
    for technique in techniques:
        piece, technique = _change(technique, span, neck, style, rng)
        timed.append(technique)
        if piece is not None:
            pieces.append(piece)
    pieces.sort(key=lambda piece: float(piece[0][0]))
    times, semitones = _joined(piece[0] for piece in pieces), _joined(piece[1] for piece in pieces)
    return FrettedChanges(times, semitones, tuple(timed))


def _joined(parts: Iterable[FloatArray]) -> FloatArray:
    return np.concatenate([np.zeros(0), *parts])


def _change(
    technique: Technique, span: Span, neck: Neck, style: PlayingStyle, rng: np.random.Generator
) -> tuple[tuple[FloatArray, FloatArray] | None, Technique]:
    sounding = span.end_s - span.onset_s
    if technique.kind == "slide":
        heights = np.linspace(neck.origin_semitones, 0.0, abs(neck.fret - neck.origin_fret) + 1)
        timed = replace(technique, start_s=span.glide_s, end_s=span.onset_s, picked=bool(technique.picked))
        return step_curve(span.glide_s, span.onset_s, heights, _SLIDE_CHANGE_S), timed
    if technique.kind in SLURS:
        reached_s = span.onset_s + min(style.slur_s, _LARGEST_SHARE_OF_NOTE * sounding)
        points = np.array([span.onset_s, reached_s]), np.array([neck.origin_semitones, 0.0])
        return points, replace(technique, start_s=span.onset_s, end_s=reached_s)
    if technique.kind == "slide_in":
        heights = _slide_in_heights(technique, neck)
        length = style.slide_s_per_fret * (len(heights) - 1) * rng.uniform(0.8, 1.1)
        end_s = span.onset_s + min(length, 0.8 * _LARGEST_SHARE_OF_NOTE * sounding)
        timed = replace(
            technique, start_s=span.onset_s, end_s=end_s, direction="up" if heights[0] < 0 else "down"
        )
        return step_curve(span.onset_s, end_s, heights, _SLIDE_CHANGE_S), timed
    if technique.kind == "slide_out":
        heights = _slide_out_heights(technique, neck)
        start_s = span.end_s - min(rng.uniform(*_SLIDE_OUT_S), _LARGEST_SHARE_OF_NOTE * sounding)
        timed = replace(
            technique, start_s=start_s, end_s=span.end_s, direction="up" if heights[-1] > 0 else "down"
        )
        return step_curve(start_s, span.end_s, heights, _SLIDE_CHANGE_S), timed
    if technique.kind == "trill" and technique.to_fret is not None:
        timed = replace(technique, start_s=span.onset_s, end_s=span.end_s)
        return trill_curve(span.onset_s, span.end_s, float(technique.to_fret - neck.fret), rng), timed
    return None, technique


def _slide_in_heights(technique: Technique, neck: Neck) -> FloatArray:
    from_above = technique.direction == "down" or neck.fret == 0
    room = neck.highest_fret - neck.fret if from_above else neck.fret
    frets = max(1, min(_SLIDE_IN_FRETS, room))
    return np.arange(frets, -1.0, -1.0) * (1.0 if from_above else -1.0)


def _slide_out_heights(technique: Technique, neck: Neck) -> FloatArray:
    upward = technique.direction == "up" or neck.fret == 0
    room = neck.highest_fret - neck.fret if upward else neck.fret
    frets = max(1, min(_SLIDE_OUT_FRETS, room))
    return np.arange(0.0, frets + 1.0) * (1.0 if upward else -1.0)
