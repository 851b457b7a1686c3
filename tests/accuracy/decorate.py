"""Techniques put on the notes of a line where a hand could play them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from transcriber.records.line import LineNote
from transcriber.records.technique import Technique

# Height of a bend in semitones and how often it is used.
BEND_HEIGHTS = ((2.0, 0.5), (1.0, 0.3), (1.5, 0.1), (0.5, 0.1))
SHORTEST_BEND_S = 0.24
SHORTEST_BEND_AND_RELEASE_S = 0.5
SHORTEST_VIBRATO_S = 0.55  # room for three alternations
SHORTEST_SLIDE_START_S = 0.17
WIDEST_SLUR_FRETS = 4
WIDEST_SLIDE_FRETS = 7
Chooser = Callable[[LineNote, float, np.random.Generator], tuple[Technique, ...]]


def decorate(
    notes: list[LineNote], tempo_bpm: float, readiness: float, rng: np.random.Generator
) -> tuple[LineNote, ...]:
    """Give notes bends, pre-bends, releases, vibrato, slides and slurs.

    Parameters
    ----------
    notes : list of LineNote
        Without techniques.
    tempo_bpm : float
        Beats that `start` and `length` count, a minute.
    readiness : float
        Chance, 0 to 1, that a note on which something is possible gets it.
    """
    done: list[LineNote] = []
    for note in notes:
        techniques: tuple[Technique, ...] = ()
        if rng.random() < readiness:
            options = _possible(note, done[-1] if done else None, tempo_bpm)
            if options:
                choose = options[rng.integers(len(options))]
                techniques = choose(note, float(note.length) * 60.0 / tempo_bpm, rng)
        done.append(replace(note, techniques=techniques))
    return tuple(done)


def _possible(note: LineNote, before: LineNote | None, tempo_bpm: float) -> list[Chooser]:
    seconds = float(note.length) * 60.0 / tempo_bpm
    options: list[Chooser] = []
    if note.string <= 3 and note.fret >= 4 and seconds >= SHORTEST_BEND_S:
        options.append(_bend)
    if note.fret >= 1 and seconds >= SHORTEST_VIBRATO_S:
        options.append(_vibrato)
    if before is None or before.string != note.string or before.start + before.length != note.start:
        return options
    if any(technique.kind in ("bend", "pre_bend") for technique in before.techniques):
        return options
    step = note.fret - before.fret
    if 0 < abs(step) <= WIDEST_SLUR_FRETS:
        options += [_slur_up if step > 0 else _slur_down] * 2
    before_s = float(before.length) * 60.0 / tempo_bpm
    fretted = min(note.fret, before.fret) >= 1
    if 0 < abs(step) <= WIDEST_SLIDE_FRETS and fretted and before_s > SHORTEST_SLIDE_START_S:
        options.append(_slide)
    return options


def _bend(note: LineNote, seconds: float, rng: np.random.Generator) -> tuple[Technique, ...]:
    heights = [height for height, _ in BEND_HEIGHTS]
    semitones = float(rng.choice(heights, p=[weight for _, weight in BEND_HEIGHTS]))
    chance = rng.random()
    if chance < 0.25 and seconds >= SHORTEST_BEND_S:
        return Technique("pre_bend", semitones=semitones), Technique("release", semitones=0.0)
    bend = Technique("bend", semitones=semitones)
    if chance < 0.55 and seconds >= SHORTEST_BEND_AND_RELEASE_S:
        return bend, Technique("release", semitones=0.0)
    if chance < 0.7 and seconds >= SHORTEST_BEND_S + SHORTEST_VIBRATO_S:
        return bend, *_vibrato(note, seconds, rng)
    return (bend,)


def _vibrato(note: LineNote, seconds: float, rng: np.random.Generator) -> tuple[Technique, ...]:
    rate_hz, depth = round(rng.uniform(4.2, 6.5), 2), round(rng.uniform(0.35, 0.9), 2)
    return (Technique("vibrato", rate_hz=rate_hz, depth_semitones=depth),)


def _slur_up(note: LineNote, seconds: float, rng: np.random.Generator) -> tuple[Technique, ...]:
    return (Technique("hammer_on"),)


def _slur_down(note: LineNote, seconds: float, rng: np.random.Generator) -> tuple[Technique, ...]:
    return (Technique("pull_off"),)


def _slide(note: LineNote, seconds: float, rng: np.random.Generator) -> tuple[Technique, ...]:
    return (Technique("slide", picked=False),)
