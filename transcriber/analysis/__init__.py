"""What a line is made of: phrases, key, chords, degrees, shapes on the neck, what is hard."""

from transcriber.analysis.analyse import Given, analyse_line
from transcriber.analysis.chords import lay_chords, parse_chord, parse_progression
from transcriber.analysis.phrases import find_phrases
from transcriber.analysis.scales import Scale, parse_key

__all__ = [
    "Given",
    "Scale",
    "analyse_line",
    "find_phrases",
    "lay_chords",
    "parse_chord",
    "parse_key",
    "parse_progression",
]
