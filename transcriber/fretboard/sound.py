"""What the sound of the strings says about each note's place, and how far a take's strings are to be trusted.

Each note's inharmonicity gives its places a likelihood (`stiffness`). The strings of a guitar that nobody
measured may be far from those of its file, and a measured guitar may not be the one that sounds. Two
things tell: measurements that lie near no place of their notes, and places that sound likely but do not join
to a line that a hand would play. Where a guitar was measured the first is enough, as its places are narrow.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from transcriber.fretboard.fretting_model import FrettingModel
from transcriber.fretboard.lattice import Lattice, PlaceLikelihood, Step
from transcriber.fretboard.stiffness import StringEvidence, string_set_of
from transcriber.records.heard import HeardNote
from transcriber.records.placed import Instrument

# Notes that say by how much sound and hand agree; more would cost time and change nothing.
_NOTES_COMPARED = 500


def with_sound(
    steps: Sequence[Step],
    notes: Sequence[HeardNote],
    instrument: Instrument,
    lattice: Lattice,
    model: FrettingModel,
) -> list[Step]:
    """Add to each step what its string sounds like, weighted by the trust in the take's strings.

    Parameters
    ----------
    steps : sequence of Step
    notes : sequence of HeardNote
        One for each step.
    instrument : Instrument
    lattice : Lattice
    model : FrettingModel
    """
    strings = string_set_of(instrument)
    if strings is None or all(note.stiffness is None for note in notes):
        return list(steps)
    evidence = StringEvidence(strings, instrument)
    sounds = [_sound_of(note, evidence) for note in notes]
    misfit = _misfit(notes, evidence, model)
    measured = instrument.measured is not None
    limit = model.misfit_measured if measured else model.misfit_computed
    trust = _falling(misfit, limit, model.misfit_width * limit)
    if not measured:
        trust *= _agreement(steps, sounds, lattice, model)
    weight = trust * (model.sound_weight_measured if measured else model.sound_weight)
    return [
        replace(step, sound=sound, sound_weight=weight) for step, sound in zip(steps, sounds, strict=True)
    ]


def _sound_of(note: HeardNote, evidence: StringEvidence) -> PlaceLikelihood | None:
    if note.stiffness is None or note.has("natural_harmonic"):
        return None
    return evidence.log_likelihoods(note.pitch_midi, note.stiffness.log10_b, note.stiffness.standard_error)


def _misfit(notes: Sequence[HeardNote], evidence: StringEvidence, model: FrettingModel) -> float:
    """Mean squared distance of the measurements from their nearest place, in spreads.

    Vague measurements fit everywhere and count little; a few notes alone prove nothing either way.
    """
    total, counted = model.misfit_expected * model.misfit_prior_notes, model.misfit_prior_notes
    for note in notes:
        if note.stiffness is None or note.has("natural_harmonic"):
            continue
        distance, clarity = evidence.nearest(
            note.pitch_midi, note.stiffness.log10_b, note.stiffness.standard_error
        )
        total += clarity * min(distance**2, model.misfit_most)
        counted += clarity
    return total / counted


def _agreement(
    steps: Sequence[Step],
    sounds: Sequence[PlaceLikelihood | None],
    lattice: Lattice,
    model: FrettingModel,
) -> float:
    """Tell by what following the sound costs the hand how well the two agree, 0 to 1.

    The position told is left out of it: a line may leave it, and the strings are not to blame.
    """
    heard = [index for index, sound in enumerate(sounds) if sound is not None][:_NOTES_COMPARED]
    if not heard:
        return 1.0
    stop = heard[-1] + 1
    free = [replace(step, demand=replace(step.demand, given_position=None)) for step in steps[:stop]]
    full = [
        replace(step, sound=sound, sound_weight=model.sound_weight)
        for step, sound in zip(free, sounds, strict=False)
    ]
    # Both readings in one pass: what moves cost takes most of the time.
    own = [
        np.stack([lattice.demand_cost(by_hand), lattice.demand_cost(by_both)])
        for by_hand, by_both in zip(free, full, strict=True)
    ]
    hand_path, both_path = lattice.cheapest_paths(free, own)
    excess = (both_path.cost - hand_path.cost) / len(heard)
    return _falling(excess, model.sound_excess, model.sound_excess_width)


def _falling(value: float, middle: float, width: float) -> float:
    """Logistic curve from 1 down to 0."""
    return 1.0 / (1.0 + math.exp(min((value - middle) / width, 60.0)))
