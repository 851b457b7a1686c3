"""Strings that ring on under the note after."""

from __future__ import annotations

from transcriber.practice.evidence import Attempt
from transcriber.practice.wanted import Wanted
from transcriber.records.heard import HeardNote

# A note that is this loud under the next one, against itself before, rings on; damped ones fall far below.
RINGS_DB = -9.0
_BEFORE_S, _AFTER_S, _WINDOW_S = 0.02, 0.09, 0.15
_SHORTEST_S = 0.2


def rings_on(
    attempt: Attempt, before: Wanted, want: Wanted, previous: HeardNote, heard: HeardNote, shift: int
) -> bool:
    """Tell whether the note before still sounds well into a note on another string.

    Only where both are long enough to be told apart, have pitches with partials of their own, and the draft
    does not ask for it.
    """
    if before.note.has("let_ring", "natural_harmonic") or before.pitch is None or want.pitch is None:
        return False
    if before.note.string == want.note.string or before.height or want.height:
        return False
    if heard.end_s - heard.onset_s < _AFTER_S + _WINDOW_S or heard.onset_s - previous.onset_s < _SHORTEST_S:
        return False
    pitch, other = before.pitch + shift, (float(want.pitch + shift),)
    then = attempt.level_of(
        pitch,
        max(previous.onset_s + 0.03, heard.onset_s - _BEFORE_S - _WINDOW_S),
        heard.onset_s - _BEFORE_S,
        other,
    )
    now = attempt.level_of(pitch, heard.onset_s + _AFTER_S, heard.onset_s + _AFTER_S + _WINDOW_S, other)
    return then is not None and now is not None and now - then > RINGS_DB
