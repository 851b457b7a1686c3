"""Practice: an attempt held against a draft, slow loops to play along with, and the lesson around a line.

The draft comes in as its readers see it, the attempt as listening heard it; text, records and sound go out.
"""

from transcriber.practice.check import check_attempt
from transcriber.practice.evidence import Attempt
from transcriber.practice.report import CheckReport, NoteReport, PhraseReport
from transcriber.practice.tolerance import TOLERANCES, Tolerance

__all__ = [
    "TOLERANCES",
    "Attempt",
    "CheckReport",
    "NoteReport",
    "PhraseReport",
    "Tolerance",
    "check_attempt",
]
