"""Palettes and figures that keys are weighed with, from ``models/key.json``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, cached_property
from typing import Any

from transcriber.models import load_model, parameters_of
from transcriber.records.analysed import KeyMode


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
    outside, approach : float
        Share of notes outside the palette: of all, and of those that lead up to the next by a half step.
    tonic, third, fifth : float
        How much commoner these degrees are than the other ones of the palette.
    evidence : float
        Exponent on the notes' likelihood, below 1 because neighbours are not independent.
    longest : float
        Notes longer than so many beats count no more than one of that length.
    last, phrase_end : float
        Nats for a last note, or the mean over phrase ends, that is the tonic; half of it for third and fifth.
    chord_outside, chord_sixth, chord_blue, chord_applied, chord_absent : float
        What chords cost, in nats; see `transcriber.analysis.chord_evidence`.
    chord_tonic, chord_first, chord_last, chord_cadence, chord_close : float
        What they are worth, in nats; see there.
    """

    outside: float
    approach: float
    tonic: float
    third: float
    fifth: float
    evidence: float
    longest: float
    last: float
    phrase_end: float
    chord_outside: float
    chord_sixth: float
    chord_blue: float
    chord_applied: float
    chord_absent: float
    chord_tonic: float
    chord_first: float
    chord_last: float
    chord_cadence: float
    chord_close: float


@dataclass(frozen=True)
class KeyModel:
    """Palettes and parameters."""

    palettes: tuple[Palette, ...]
    parameters: KeyParameters

    @cached_property
    def modes(self) -> tuple[KeyMode, ...]:
        """The modes that have palettes, each once."""
        return tuple(dict.fromkeys(palette.mode for palette in self.palettes))


def key_model_of(document: Mapping[str, Any]) -> KeyModel:
    """Make the model from its document."""
    palettes = tuple(
        Palette(each["mode"], tuple(each["degrees"]), float(each["prior"])) for each in document["palettes"]
    )
    return KeyModel(palettes, parameters_of("key", document["parameters"], KeyParameters))


@cache
def shipped_key_model() -> KeyModel:
    """Return the model that ships with the program."""
    return key_model_of(load_model("key"))
