"""Listening's parameters, read from `models/listening.json` and documented here."""

from __future__ import annotations

from dataclasses import dataclass

from transcriber.models import load_model, parameters_of


@dataclass(frozen=True)
class ListeningSettings:
    """Thresholds of listening. Times in seconds, levels in dB, pitches in semitones.

    Attributes
    ----------
    step : float
        Change between two frames that is a break in the contour, not a glide.
    shortest_note_s : float
        Voiced stretches shorter than this are noise or a dropout.
    shortest_begun_s : float
        The same where an attack stands right before the stretch.
    step_s : float
        A change of pitch within this time is a step (a slur), not a glide.
    same_pitch : float
        Two stretches this close in pitch are one pitch.
    dropout_s : float
        Longest gap across which one pitch without an attack is one note.
    picked_rise : float
        Attack strength typical of a pick.
    picked_gap_s, silence_dip_db : float
        After a gap this long in which the level fell this far a note is picked (a slide keeps the level).
    quiet_note_db : float
        Notes this far below the take's loudest are not notes.
    turn : float
        Smallest reversal of the contour that is a turning point.
    move : float
        Smallest change of pitch that is a gesture.
    trill_note_s, trill_rise : float
        Longest note of a quick alternation, and the attack strength (against the take's typical one) below
        which a note of it is a finger's.
    vibrato_depth, vibrato_widest : float
        Peak-to-peak range of vibrato.
    vibrato_slowest_hz, vibrato_fastest_hz : float
    vibrato_turns : int
        Fewest turning points of a vibrato (5 are two cycles).
    widest_bend : float
    widest_slur : float
        Largest step that a finger can hammer or pull, unless to or from an open string.
    """

    step: float
    shortest_note_s: float
    shortest_begun_s: float
    step_s: float
    same_pitch: float
    dropout_s: float
    picked_rise: float
    picked_gap_s: float
    silence_dip_db: float
    quiet_note_db: float
    turn: float
    move: float
    trill_note_s: float
    trill_rise: float
    vibrato_depth: float
    vibrato_widest: float
    vibrato_slowest_hz: float
    vibrato_fastest_hz: float
    vibrato_turns: int
    widest_bend: float
    widest_slur: float


def listening_settings() -> ListeningSettings:
    """Read the shipped parameters.

    Raises
    ------
    ModelError
        If the model file lacks a parameter.
    """
    return parameters_of("listening", load_model("listening")["parameters"], ListeningSettings)
