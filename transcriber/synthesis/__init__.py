"""Hear it: written lines played and rendered by the project's own string model, with their truth.

``Line -> perform -> Performance -> render_performance -> sound``; `truth_document` writes down what was
really played, with the keys of a draft.
"""

from transcriber.synthesis.line_check import playable
from transcriber.synthesis.line_file import line_to_json, parse_line_file, read_line, read_line_file
from transcriber.synthesis.performance import perform
from transcriber.synthesis.render import render_performance
from transcriber.synthesis.rendered_take import STYLES, TONES, RenderOptions, render_line_file
from transcriber.synthesis.style import EXACT, PlayingStyle
from transcriber.synthesis.tone import Tone
from transcriber.synthesis.truth import truth_document

__all__ = [
    "EXACT",
    "STYLES",
    "TONES",
    "PlayingStyle",
    "RenderOptions",
    "Tone",
    "line_to_json",
    "parse_line_file",
    "perform",
    "playable",
    "read_line",
    "read_line_file",
    "render_line_file",
    "render_performance",
    "truth_document",
]
