"""From sounded notes to strings, frets and fingers, and the instruments they are played on."""

from transcriber.fretboard.instruments import BUILT_IN_INSTRUMENTS, parse_tuning, read_instrument
from transcriber.fretboard.placement import place_notes, validate_position
from transcriber.fretboard.tunings import check_tuning, note_name

__all__ = [
    "BUILT_IN_INSTRUMENTS",
    "check_tuning",
    "note_name",
    "parse_tuning",
    "place_notes",
    "read_instrument",
    "validate_position",
]
