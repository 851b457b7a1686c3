"""Pitch track of a recording by the probabilistic YIN method."""

from transcriber.listening.pitch.settings import PitchSettings
from transcriber.listening.pitch.tracker import track_pitch

__all__ = ["PitchSettings", "track_pitch"]
