"""Palm-muted and dead notes, told by how fast a picked string falls silent; fingers heard as they land.

An undamped string loses about 1 dB in the first 80 ms. Under the heel of the hand it loses some 10 dB, its
high partials first; under fingers that rest on it nearly everything. A note cut short (staccato) stays up
until it is cut.
"""

from __future__ import annotations

from bisect import bisect_left
from itertools import zip_longest

import numpy as np
import numpy.typing as npt

from transcriber.listening.attacks import AttackStrength
from transcriber.listening.strokes import NoteInMaking
from transcriber.records.technique import Technique

FloatArray = npt.NDArray[np.float64]
Frames = npt.NDArray[np.int64]

_PEAK_FRAMES = 8
# Frames after the onset at which the level is read (23, 52 and 81 ms).
_SOON, _THEN, _LATER = 4, 9, 14
_MUTED_DB, _MUTED_HIGH_DB = (4.8, 18.0), 4.0  # lost from 23 to 81 ms; above 2.5 kHz by 81 ms
_DEAD_SOON_DB, _DEAD_THEN_DB = 6.0, 18.0
_EVEN = (0.25, 0.85)  # share of that which a muted note, falling evenly, has lost by 52 ms
_CLEAR_ATTACK, _QUIETEST_DB = 0.12, -28.0
_LANDING_S, _LANDING_BELOW_DB = 0.12, 20.0
_FAR_FROM_NOTES = 9  # frames
# A finger that leaves a string makes a small noise while the level falls: that is no dead note.
_GAIN_DB, _LEAST_RISE = 8.0, 0.18


def mark_muted(notes: list[NoteInMaking], strength: AttackStrength) -> None:
    """Mark picked notes as palm-muted or dead; changes the notes in place.

    Parameters
    ----------
    notes : list of NoteInMaking
        In order.
    strength : AttackStrength
    """
    for index, note in enumerate(notes):
        if not note.picked:
            continue
        room = (notes[index + 1].onset if index + 1 < len(notes) else len(strength.level_db)) - note.onset
        if room > _THEN and _is_dead(strength, note.onset):
            note.techniques = [Technique("dead_note")]
        elif room > _LATER and _is_muted(strength, note.onset):
            note.techniques.insert(0, Technique("palm_mute"))


def without_landings(
    notes: list[NoteInMaking], strength: AttackStrength, frame_s: float
) -> list[NoteInMaking]:
    """Leave out the faint beginning of a note whose finger comes down on the fret before the pick strikes.

    Parameters
    ----------
    notes : list of NoteInMaking
        In order; what is left out is given to the note before.
    strength : AttackStrength
    frame_s : float
        Seconds between frames.
    """
    kept: list[NoteInMaking] = []
    for note, following in zip_longest(notes, notes[1:]):
        if (
            kept
            and following is not None
            and following.picked
            and following.pitch == note.pitch
            and (following.onset - note.onset) * frame_s <= _LANDING_S
            and _peak(strength, following.onset) - _typical(strength, note) >= _LANDING_BELOW_DB
        ):
            kept[-1].last = note.last
        else:
            kept.append(note)
    return kept


def with_dead_notes(
    notes: list[NoteInMaking], attacks: Frames, strength: AttackStrength, typical_rise: float
) -> list[NoteInMaking]:
    """Add the clear attacks that no pitch followed and that fell silent at once.

    Parameters
    ----------
    notes : list of NoteInMaking
        In order. A dead note is given the pitch of the note before it, where the hand was.
    attacks : ndarray of int64, shape (k,)
        Frames of the attacks, in order.
    strength : AttackStrength
    typical_rise : float
        Attack strength typical of the take.
    """
    if not notes:
        return notes
    onsets = [note.onset for note in notes]
    loud = float(strength.level_db.max(initial=-100.0))
    added: list[NoteInMaking] = []
    for attack in attacks.tolist():
        at = bisect_left(onsets, attack - _FAR_FROM_NOTES)
        near = at < len(onsets) and onsets[at] <= attack + _FAR_FROM_NOTES
        clear = strength.rise[attack] >= _CLEAR_ATTACK * typical_rise
        heard = _peak(strength, attack) >= loud + _QUIETEST_DB
        if (
            near
            or not clear
            or not heard
            or not _begins_anew(strength, attack)
            or not _is_dead(strength, attack)
        ):
            continue
        if added and attack - added[-1].onset <= _FAR_FROM_NOTES:
            continue
        beside = notes[max(at - 1, 0)]
        dead = NoteInMaking(attack, attack + _THEN, beside.pitch, True, beside.piece)
        dead.techniques.append(Technique("dead_note"))
        added.append(dead)
    return sorted([*notes, *added], key=lambda note: note.onset)


def _begins_anew(strength: AttackStrength, attack: int) -> bool:
    """Whether an attack brings a sound of its own: it is louder than what went before, or rises clearly."""
    before = strength.level_db[max(attack - 10, 0) : max(attack - 3, 1)]
    louder = _peak(strength, attack) - float(np.median(before)) >= _GAIN_DB
    return louder or float(strength.rise[attack]) >= _LEAST_RISE


def _peak(strength: AttackStrength, onset: int) -> float:
    return float(strength.level_db[onset : onset + _PEAK_FRAMES].max(initial=-100.0))


def _typical(strength: AttackStrength, note: NoteInMaking) -> float:
    """Median level of a note: neither the end of the one before nor the attack after it counts."""
    return float(np.median(strength.level_db[note.onset : max(note.last, note.onset + 1)]))


def _fallen(strength: AttackStrength, onset: int, frames: int) -> float:
    """Level lost since the peak of an attack, dB."""
    at = min(onset + frames, len(strength.level_db) - 1)
    return _peak(strength, onset) - float(strength.level_db[at])


def _is_dead(strength: AttackStrength, onset: int) -> bool:
    soon, then = (_fallen(strength, onset, frames) for frames in (_SOON, _THEN))
    return soon >= _DEAD_SOON_DB and then >= _DEAD_THEN_DB


def _is_muted(strength: AttackStrength, onset: int) -> bool:
    soon, then, later = (_fallen(strength, onset, frames) for frames in (_SOON, _THEN, _LATER))
    # A hard attack stands some 7 dB above the note it begins, so only what is lost after it counts.
    lost = later - soon
    last = min(onset + _LATER, len(strength.level_db) - 1)
    high = strength.high_level_db
    lost_high = float(high[onset : onset + _PEAK_FRAMES].max()) - float(high[last])
    if not (_MUTED_DB[0] <= lost <= _MUTED_DB[1] and lost_high >= _MUTED_HIGH_DB):
        return False
    return _EVEN[0] <= (then - soon) / lost <= _EVEN[1]
