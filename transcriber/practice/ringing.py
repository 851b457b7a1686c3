"""Strings that ring on under the note after."""

from __future__ import annotations

from transcriber.practice.evidence import Attempt
from transcriber.practice.wanted import Wanted

# A note that is this loud under the next one, against itself before, rings on; damped ones fall far below.
RINGS_DB = -12.0
# What lies this far below the note that is meant is not heard beside it.
HEARD_DB = -26.0
# A drone or a backing that holds the pitch is no louder than it is when that note is not played.
ABOVE_ROOM_DB = 6.0
_BEFORE_S, _AFTER_S, _WINDOW_S = 0.02, 0.09, 0.15
_SHORTEST_S = 0.2


def rings_on(
    attempt: Attempt,
    notes: tuple[Wanted, Wanted],
    pitches: tuple[float, float],
    onsets_s: tuple[float, float, float],
) -> bool:
    """Tell whether the note before still sounds well into a note on another string.

    Only where both are long enough to be told apart, have pitches with partials of their own, and the draft
    does not ask for it.

    Parameters
    ----------
    attempt : Attempt
    notes : (Wanted, Wanted)
        Neighbours in the line.
    pitches : (float, float)
        What was played of each, as MIDI numbers.
    onsets_s : (float, float, float)
        Of the note before, of the note, and of what follows it.
    """
    before, want = notes
    old, new = pitches
    previous_s, onset_s, until_s = onsets_s
    if before.note.has("let_ring", "natural_harmonic") or before.pitch is None or want.pitch is None:
        return False
    if before.note.string == want.note.string or before.height or want.height:
        return False
    if until_s - onset_s < _AFTER_S + _WINDOW_S or onset_s - previous_s < _SHORTEST_S:
        return False
    first = max(previous_s + 0.03, onset_s - _BEFORE_S - _WINDOW_S)
    then = attempt.level_of(old, first, onset_s - _BEFORE_S, (new,))
    span = (onset_s + _AFTER_S, onset_s + _AFTER_S + _WINDOW_S)
    now, own = attempt.level_of(old, *span, (new,)), attempt.level_of(new, *span, (old,))
    if then is None or now is None or own is None:
        return False
    if now - then <= RINGS_DB or now - own <= HEARD_DB:
        return False
    room = attempt.usual_level(old, (new,), _WINDOW_S)
    return room is None or now - room > ABOVE_ROOM_DB
