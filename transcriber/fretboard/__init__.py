"""From sounded notes to strings, frets and fingers, and the instruments they are played on."""

from transcriber.fretboard.beside import place_beside
from transcriber.fretboard.crossed import without_crossed_slurs
from transcriber.fretboard.guitar_profile import (
    GuitarProfile,
    UsedNote,
    expected_places,
    parse_places,
    profile_guitar,
)
from transcriber.fretboard.instruments import (
    BUILT_IN_INSTRUMENTS,
    parse_tuning,
    read_instrument,
    retuned,
)
from transcriber.fretboard.measured_file import instrument_file
from transcriber.fretboard.pins import check_pin, find_pins
from transcriber.fretboard.placement import place_notes, place_phrases, validate_position
from transcriber.fretboard.tunings import check_tuning

__all__ = [
    "BUILT_IN_INSTRUMENTS",
    "GuitarProfile",
    "UsedNote",
    "check_pin",
    "check_tuning",
    "expected_places",
    "find_pins",
    "instrument_file",
    "parse_places",
    "parse_tuning",
    "place_beside",
    "place_notes",
    "place_phrases",
    "profile_guitar",
    "read_instrument",
    "retuned",
    "validate_position",
    "without_crossed_slurs",
]
