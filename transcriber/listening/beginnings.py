"""How a picked note begins, seen through a short window: at its pitch, from a grace, or by a slide in.

The tracker's window blurs what happens within 30 ms. The short one shows on which frets the sound stood
before it came to rest: on one other fret for a grace, on several in a row for a slide in.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from transcriber.listening.short_window import ShortWindow
from transcriber.listening.strokes import NoteInMaking
from transcriber.records.technique import Technique

FloatArray = npt.NDArray[np.float64]

_LOOK_S = 0.14
_STEP = 64  # samples between looks
_STAND_LOOKS = 4
_STILL = 0.2  # semitones around the median of a stand
_CLEAR = 0.35
_ON_FRET = 0.3
_GRACE_S = 0.08
_LONGER = 1.8  # times a grace's length that its neighbours last at least
_PASSING_S = 0.055  # from fret to fret of a slide in
_FEWEST_BEFORE_REST_S = 0.02
_MOVED = ("slide", "slide_in", "hammer_on", "pull_off", "grace")


@dataclass(frozen=True)
class _Stand:
    """Looks `first` to `last` on one fret."""

    first: int
    last: int
    pitch: int


def read_beginnings(notes: list[NoteInMaking], window: ShortWindow, hop: int) -> list[NoteInMaking]:
    """Give picked notes the graces and slides in that they begin with.

    Parameters
    ----------
    notes : list of NoteInMaking
        In order; changed in place.
    window : ShortWindow
    hop : int
        Samples between frames.
    """
    done: list[NoteInMaking] = []
    absorbed: NoteInMaking | None = None
    for index, note in enumerate(notes):
        if absorbed is not None and note.onset < absorbed.onset + _LOOK_S * window.rate_hz / hop:
            if not note.picked and note.pitch == absorbed.pitch:
                absorbed.techniques += [t for t in note.techniques if t.kind not in _MOVED]
                absorbed.last = note.last
                continue
            if not note.picked and note.onset - absorbed.onset < _GRACE_S * window.rate_hz / hop:
                absorbed.last = max(absorbed.last, note.last)
                continue
        absorbed = None
        following = notes[index + 1 :]
        stands = _stands(note, following, window, hop) if note.picked and note.bend < _ON_FRET else []
        before = done[-1] if done else None
        if (
            len(stands) == 2
            and _is_grace(stands, window)
            and _stands_alone(note, before, following, stands, hop)
        ):
            grace, note = _with_grace(note, stands, hop)
            done.append(grace)
        elif len(stands) > 2 and _is_slide(stands, window):
            note = _with_slide_in(note, stands)
        if stands and stands[-1].pitch == note.pitch and len(stands) > 1:
            absorbed = note
        done.append(note)
    return done


def _stands(note: NoteInMaking, following: list[NoteInMaking], window: ShortWindow, hop: int) -> list[_Stand]:
    """Frets on which the sound stands within its first moments."""
    limit = next((n.onset for n in following if n.picked), note.last)
    stop = min(note.onset * hop + int(_LOOK_S * window.rate_hz), limit * hop)
    centres = np.arange(note.onset * hop + _STEP, stop, _STEP)
    if len(centres) < 2 * _STAND_LOOKS:
        return []
    semitones, depth = window.look(centres, float(note.pitch))
    return _joined(_still_stretches(semitones, depth))


def _still_stretches(semitones: FloatArray, depth: FloatArray) -> list[_Stand]:
    stands: list[_Stand] = []
    begin = 0
    for end in range(1, len(semitones) + 1):
        if end < len(semitones) and abs(semitones[end] - np.median(semitones[begin:end])) <= _STILL:
            continue
        level = float(np.median(semitones[begin:end]))
        clear = float(np.median(depth[begin:end])) <= _CLEAR
        if end - begin >= _STAND_LOOKS and clear and abs(level - round(level)) <= _ON_FRET:
            stands.append(_Stand(begin, end, round(level)))
        begin = end
    return stands


def _joined(stands: list[_Stand]) -> list[_Stand]:
    joined: list[_Stand] = []
    for stand in stands:
        if joined and joined[-1].pitch == stand.pitch:
            joined[-1] = _Stand(joined[-1].first, stand.last, stand.pitch)
        else:
            joined.append(stand)
    return joined


def _is_grace(stands: list[_Stand], window: ShortWindow) -> bool:
    """Whether the sound stood on one other fret, not too long, and stepped to where it rests."""
    changed_s = (stands[0].last + stands[1].first) / 2 * _STEP / window.rate_hz
    rests = (stands[1].last - stands[1].first) * _STEP / window.rate_hz
    return changed_s <= _GRACE_S and rests >= _FEWEST_BEFORE_REST_S


def _stands_alone(
    note: NoteInMaking,
    before: NoteInMaking | None,
    following: list[NoteInMaking],
    stands: list[_Stand],
    hop: int,
) -> bool:
    """Whether the notes before and after outlast a grace: in a quick run nothing is one."""
    changed = round((stands[0].last + stands[1].first) / 2 * _STEP / hop)
    after = next((n.onset for n in following if n.onset > note.onset + changed + 4), note.last)
    waits = note.onset - before.onset if before is not None else 10 * changed
    return waits >= _LONGER * changed and after - (note.onset + changed) >= _LONGER * changed


def _is_slide(stands: list[_Stand], window: ShortWindow) -> bool:
    """Whether the sound passed fret after fret in one direction, without staying on any."""
    steps = np.diff([stand.pitch for stand in stands])
    begins = np.array([0, *(stand.first for stand in stands[1:])]) * _STEP / window.rate_hz
    return bool(np.all(steps > 0) or np.all(steps < 0)) and float(np.diff(begins).max()) <= _PASSING_S


def _with_grace(note: NoteInMaking, stands: list[_Stand], hop: int) -> tuple[NoteInMaking, NoteInMaking]:
    """Split a note into its grace and what it decorates; one that was split already is joined on."""
    changed = note.onset + round((stands[0].last + stands[1].first) / 2 * _STEP / hop)
    grace = NoteInMaking(note.onset, changed, stands[0].pitch, True, note.piece)
    grace.techniques.append(Technique("grace"))
    kept = [t for t in note.techniques if t.kind not in _MOVED]
    main = NoteInMaking(changed, max(note.last, changed + 1), stands[1].pitch, False, note.piece, note.bend)
    main.trailing, main.doubt = note.trailing, note.doubt
    main.techniques = [Technique("hammer_on" if main.pitch > grace.pitch else "pull_off"), *kept]
    return grace, main


def _with_slide_in(note: NoteInMaking, stands: list[_Stand]) -> NoteInMaking:
    up = stands[-1].pitch > stands[0].pitch
    note.pitch = stands[-1].pitch
    note.techniques = [t for t in note.techniques if t.kind not in _MOVED]
    note.techniques.insert(0, Technique("slide_in", direction="up" if up else "down"))
    return note
