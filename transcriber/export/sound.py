"""How low an instrument is, for its clef, and which General MIDI sound comes nearest."""

from __future__ import annotations

from transcriber.draft.document import DraftInstrument

BASS_BELOW_MIDI = 52
"""An instrument whose highest string lies below E3 is a bass guitar; a guitar of eight strings is none."""

PROGRAM_CLEAN_GUITAR, PROGRAM_FINGERED_BASS = 28, 34
"""General MIDI, counted from 1."""


def is_bass(instrument: DraftInstrument) -> bool:
    """Whether an instrument is as low as a bass guitar."""
    return max(instrument.tuning_midi) < BASS_BELOW_MIDI


def midi_program(instrument: DraftInstrument) -> int:
    """General MIDI program that comes nearest, counted from 1."""
    return PROGRAM_FINGERED_BASS if is_bass(instrument) else PROGRAM_CLEAN_GUITAR
