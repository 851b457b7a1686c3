"""What the fretting hand can be doing during one note: a string, a fret, a finger and where the hand is.

The hand's position is the fret of its index finger, counted from the capo; at the nut it is 1. A fretted note
fixes a position for each finger that may take it; an open note leaves the hand anywhere, so that its place is
carried across open strings.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.records.placed import Instrument

IntArray = npt.NDArray[np.int64]

# (finger, frets above the position). The first of each finger is its natural place, the second a stretch.
# Between a stretch down by the index finger and one up by the little finger lie five frets, which a hand
# spans only where frets are narrow.
_REACHES = ((1, 0), (2, 1), (3, 2), (4, 3), (2, 2), (3, 3), (4, 4))
_BACKWARD_REACH = (1, -1)
_BACKWARD_FROM_POSITION = 8

# Fret touched and semitones above the open string (harmonic series, rounded to equal temperament).
HARMONIC_NODES = ((12, 12), (7, 19), (19, 19), (5, 24), (24, 24), (4, 28), (9, 28), (16, 28))


@dataclass(frozen=True)
class NoteKey:
    """What decides where a note can be.

    Attributes
    ----------
    pitch_midi : int
    harmonic : bool
        Whether it is a natural harmonic.
    pinned : (int, int) or None
        The one (string, fret) where a person put it.
    """

    pitch_midi: int
    harmonic: bool = False
    pinned: tuple[int, int] | None = None


@dataclass(frozen=True)
class HandStates:
    """All states in which one note can be sounded. Arrays have shape (n,).

    Attributes
    ----------
    string, fret, finger, position, pitch_midi : ndarray of int
        `finger` 0 is an open string. `position` is never below 1. `pitch_midi` is the sounding pitch.
    open_midi : ndarray of int
        Pitch of the string played open.
    open_elsewhere : ndarray of bool
        Whether the note is fretted although another string sounds it open.
    strings : int
        Number of strings of the instrument.
    places : tuple of (int, int)
        The (string, fret) pairs among the states.
    place : ndarray of int
        Index of each state's pair among them.
    """

    string: IntArray
    fret: IntArray
    finger: IntArray
    position: IntArray
    pitch_midi: IntArray
    open_midi: IntArray
    open_elsewhere: npt.NDArray[np.bool_]
    strings: int
    places: tuple[tuple[int, int], ...]
    place: IntArray

    def __len__(self) -> int:
        return len(self.string)


def places_of(key: NoteKey, instrument: Instrument) -> tuple[tuple[int, int], ...]:
    """All (string, fret) at which a note can be played; for a harmonic the fret is the node touched."""
    if key.pinned is not None:
        return (key.pinned,)
    if not key.harmonic:
        return instrument.places(key.pitch_midi)
    return tuple(
        (string, node)
        for string in range(1, len(instrument.tuning_midi) + 1)
        for node, interval in HARMONIC_NODES
        if instrument.open_midi(string) + interval == key.pitch_midi and node <= instrument.highest_fret
    )


def hand_states(key: NoteKey, instrument: Instrument) -> HandStates:
    """List the states in which a note can be sounded; none if it is out of the instrument's range."""
    places = places_of(key, instrument)
    rows = [
        (string, fret, finger, position, key.pitch_midi, place)
        for place, (string, fret) in enumerate(places)
        for finger, position in _holds(fret, instrument.highest_fret)
    ]
    string, fret, finger, position, pitch_midi, place = np.array(rows, dtype=np.int64).reshape(-1, 6).T
    return HandStates(
        string=string,
        fret=fret,
        finger=finger,
        position=position,
        pitch_midi=pitch_midi,
        open_midi=np.array([instrument.open_midi(s) for s in string.tolist()], dtype=np.int64),
        open_elsewhere=(fret > 0) & bool(np.any(fret == 0)),
        strings=len(instrument.tuning_midi),
        places=places,
        place=place,
    )


def _holds(fret: int, highest_fret: int) -> list[tuple[int, int]]:
    """(finger, position) pairs that can sound a fret."""
    if fret == 0:
        return [(0, position) for position in range(1, max(highest_fret, 1) + 1)]
    holds = [(finger, fret - reach) for finger, reach in _REACHES if fret - reach >= 1]
    finger, reach = _BACKWARD_REACH
    if _BACKWARD_FROM_POSITION <= fret - reach <= highest_fret:
        holds.append((finger, fret - reach))
    return holds
