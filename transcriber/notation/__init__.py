"""Rhythm: from onsets in seconds to bars, beats and lengths in exact fractions."""

from transcriber.notation.rhythm import write_rhythm

__all__ = ["write_rhythm"]
