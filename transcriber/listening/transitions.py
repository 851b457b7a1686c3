"""Hammered, pulled or slid: how long the pitch takes from one fret to the next.

A finger that lands or leaves changes the pitch at once, and the short window shows the change within 20 ms
(real hammered notes: 26 ms at most). A finger that slides takes 30 ms and more, the time of its way over
the frets.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import numpy as np

from transcriber.listening.short_window import ShortWindow
from transcriber.listening.strokes import NoteInMaking
from transcriber.records.technique import Technique

_LONGEST_STEP_S = 0.027
_BEFORE_S, _AFTER_S = 0.16, 0.07
_NEAR = 0.2  # share of the way at either end that counts as not moving
_BENT = 0.3
_FURTHEST = 10.5  # semitones between two notes that the short window can follow
_GLIDE_GAP_S = 0.03
_PICK_S = 0.012  # before a pick, in which the short window already holds its noise
_GLIDE_STEP = 48  # samples
_CLEAR = 0.35
_LAST_LOOKS, _PASSED_LOOKS = 4, 4
# At the pick a finger may be one fret short of where it goes, or some way more on a long slide, or half of a
# slide by one fret. If it went past, it did not go there.
_SHORT, _SHORT_SHARE, _SHORT_OF_ONE, _PAST = 1.1, 0.3, 0.45, 0.5
_ARRIVALS = ("slide", "hammer_on", "pull_off")


def settle_arrivals(notes: list[NoteInMaking], window: ShortWindow, hop: int, widest_slur: float) -> None:
    """Call each unpicked arrival a slide or a slur by the time it took; changes the notes in place.

    Parameters
    ----------
    notes : list of NoteInMaking
        In order.
    window : ShortWindow
    hop : int
        Samples between frames.
    widest_slur : float
        Semitones; a quicker but wider change is left as it was read.
    """
    for before, note in pairwise(notes):
        arrival = next((t for t in note.techniques if t.kind in _ARRIVALS), None)
        if arrival is None or arrival.picked or before.bend >= _BENT:
            continue
        interval = note.pitch - before.pitch
        seconds = _transition_s(before.pitch, note, window, hop)
        if seconds is None or not interval:
            continue
        slid = seconds > _LONGEST_STEP_S
        if slid == (arrival.kind == "slide") or (not slid and abs(interval) > widest_slur):
            continue
        kind: Literal["slide", "hammer_on", "pull_off"] = (
            "slide" if slid else "hammer_on" if interval > 0 else "pull_off"
        )
        changed = Technique("slide", picked=False) if slid else Technique(kind)
        note.techniques = [changed if t is arrival else t for t in note.techniques]


def mark_shift_slides(notes: list[NoteInMaking], window: ShortWindow, hop: int) -> None:
    """Mark the picked notes to which the finger slid on the string that still sounded, before the pick.

    Parameters
    ----------
    notes : list of NoteInMaking
        In order; changed in place.
    window : ShortWindow
    hop : int
        Samples between frames.
    """
    for before, note in pairwise(notes):
        interval = note.pitch - before.pitch
        plain = note.picked and not note.has(*_ARRIVALS)
        near = (note.onset - before.last) * hop / window.rate_hz <= _GLIDE_GAP_S
        possible = plain and near and before.bend < _BENT and 0 < abs(interval) <= _FURTHEST
        if possible and _glided(before.pitch, interval, note.onset * hop, window):
            note.techniques.insert(0, Technique("slide", picked=True))
            before.techniques = [t for t in before.techniques if t.kind != "slide_out"]


def _glided(origin: int, interval: int, onset: int, window: ShortWindow) -> bool:
    """Whether the pitch went from one fret most of the way to another before a pick."""
    first, last = onset - int(_BEFORE_S * window.rate_hz), onset - int(_PICK_S * window.rate_hz)
    centres = np.arange(max(first, 0), last, _GLIDE_STEP)
    if len(centres) < 10:
        return False
    semitones, depth = window.look(centres, origin + interval / 2)
    way = ((semitones - origin) / interval)[depth <= _CLEAR]
    if len(way) < 0.6 * len(centres):
        return False
    frets = abs(interval)
    short = frets * (1 - float(np.median(way[-_LAST_LOOKS:])))
    arrived = -_PAST <= short <= (_SHORT_OF_ONE if frets == 1 else max(_SHORT, _SHORT_SHARE * frets))
    began = float(np.median(way[:_LAST_LOOKS])) <= _NEAR
    passed = np.count_nonzero((way > _NEAR) & (way < 1 - _NEAR))
    return arrived and began and bool(passed >= _PASSED_LOOKS)


def _transition_s(origin: int, note: NoteInMaking, window: ShortWindow, hop: int) -> float | None:
    """Seconds from the last moment near the pitch before to the first near the note's; None if not seen."""
    interval = abs(note.pitch - origin)
    if interval > _FURTHEST:
        return None
    at = note.onset * hop
    first, last = at - int(_BEFORE_S * window.rate_hz), at + int(_AFTER_S * window.rate_hz)
    contour, step_s = window.contour(first, last, (note.pitch + origin) / 2)
    if not len(contour):
        return None
    away = np.flatnonzero(np.abs(contour - origin) <= _NEAR * interval)
    there = np.flatnonzero(np.abs(contour - note.pitch) <= _NEAR * interval)
    away = away[away < there[-1]] if len(there) else away[:0]
    if not len(away):
        return None
    arrives = there[there > away[-1]]
    return float(arrives[0] - away[-1]) * step_s
