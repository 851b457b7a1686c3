"""From pieces to notes: what was fingered, bent and slid within each stroke of the pick.

A stroke is a picked piece with the pieces joined to it. Within it a note begins where the pitch steps to
another fret (hammer-on, pull-off) or slides there; a bent string keeps its note.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from transcriber.listening.decisions import bend_features, decision
from transcriber.listening.gestures import Gestures, Move, find_gestures, seen_finely
from transcriber.listening.pieces import Piece
from transcriber.listening.settings import ListeningSettings
from transcriber.listening.short_window import ShortWindow
from transcriber.records.technique import Technique

FloatArray = npt.NDArray[np.float64]

_SETTLE_S = 0.035  # a level must stand this long to count as fingered
_BENT = 0.3  # semitones above the fret from which a string counts as bent
_SEMITONE_LEAST = 0.7  # semitones: from here a step is to another fret
_LEAST_BEND = 0.4  # semitones: a quarter bend is 0.5
_HIGHEST_PRE_BEND = 3.3  # semitones: who pushes a string further does it by ear, while it sounds
_PASSING_S = 0.06  # longest halt of a slide at a fret on its way
_ARRIVALS = ("slide", "hammer_on", "pull_off")
_ON_FRET = 0.2  # semitones
_CLEARLY_BENT = 2.0  # log odds
_LOOK_AROUND = 5  # frames on either side of a move that the short window looks at
_SLUR_GAP_S = 0.049  # a finger's slur leaves a shorter hole in the pitch than this


@dataclass
class NoteInMaking:
    """A note while its stroke is being read; frames count from the take's first.

    `beside` is the pitch of a second note that begins with it.
    """

    onset: int
    last: int
    pitch: int
    picked: bool
    piece: Piece
    bend: float = 0.0
    trailing: Move | None = None
    techniques: list[Technique] = field(default_factory=list)
    doubt: float = 0.0
    beside: int | None = None

    def has(self, *kinds: str) -> bool:
        """Tell whether the note carries a technique of one of these kinds."""
        return any(technique.kind in kinds for technique in self.techniques)


@dataclass(frozen=True)
class _Reading:
    """What reading needs besides the note at hand."""

    pitch: FloatArray
    times_s: FloatArray
    window: ShortWindow
    hop: int
    settings: ListeningSettings

    @property
    def frame_s(self) -> float:
        return float(self.times_s[1] - self.times_s[0]) if len(self.times_s) > 1 else 0.01


def read_strokes(
    pieces: list[Piece],
    pitch: FloatArray,
    times_s: FloatArray,
    window: ShortWindow,
    hop: int,
    settings: ListeningSettings,
) -> list[NoteInMaking]:
    """Read all pieces into notes, in order of time.

    Parameters
    ----------
    pieces : list of Piece
    pitch : ndarray of float64, shape (n,)
        Semitones of each frame at the take's tuning.
    times_s : ndarray of float64, shape (n,)
    window : ShortWindow
    hop : int
        Samples between frames.
    settings : ListeningSettings
    """
    reading = _Reading(pitch, times_s, window, hop, settings)
    notes: list[NoteInMaking] = []
    for piece in pieces:
        contour = filled(pitch[piece.first : piece.last])
        gestures = read_gestures(piece, contour, window, hop, settings)
        _begin(piece, contour, gestures, notes, reading)
        arrived = _arrival(piece, contour, gestures, notes, reading)
        for move in gestures.moves[arrived:]:
            _follow(move, piece, contour, notes, reading)
        _add_vibrato(piece, gestures, notes, reading)
        notes[-1].last = piece.last
    return _without_passed_frets(notes, reading)


def read_gestures(
    piece: Piece, contour: FloatArray, window: ShortWindow, hop: int, settings: ListeningSettings
) -> Gestures:
    """Read a piece's gestures, with the moves that may be bends or slides seen through the short window.

    Parameters
    ----------
    piece : Piece
    contour : ndarray of float64, shape (n,)
        Semitones of the piece's frames, without gaps.
    window : ShortWindow
    hop : int
        Samples between frames.
    settings : ListeningSettings
    """
    gestures = find_gestures(contour, hop / window.rate_hz, settings)
    moves = []
    for move in gestures.moves:
        if abs(move.extent) <= settings.widest_bend:
            first = (piece.first + move.first - _LOOK_AROUND) * hop
            last = (piece.first + move.last + _LOOK_AROUND) * hop
            fine, step_s = window.contour(first, last, (move.start + move.target) / 2)
            move = seen_finely(move, fine, step_s) if len(fine) else move
        moves.append(move)
    return replace(gestures, moves=tuple(moves))


def _without_passed_frets(notes: list[NoteInMaking], reading: _Reading) -> list[NoteInMaking]:
    """Take out the frets that a slide halted at: short, between two pitches, left without a pick."""
    kept: list[NoteInMaking] = []
    for index, note in enumerate(notes):
        following = notes[index + 1] if index + 1 < len(notes) else None
        if kept and following is not None and _is_passed_fret(kept[-1], note, following, reading):
            following.techniques = [t for t in following.techniques if t.kind not in _ARRIVALS]
            start_s, end_s = reading.times_s[note.onset], reading.times_s[following.onset]
            following.techniques.insert(0, Technique("slide", float(start_s), float(end_s), picked=False))
        else:
            kept.append(note)
    return kept


def _is_passed_fret(
    before: NoteInMaking, note: NoteInMaking, following: NoteInMaking, reading: _Reading
) -> bool:
    short = (following.onset - note.onset) * reading.frame_s <= _PASSING_S
    onward = (note.pitch - before.pitch) * (following.pitch - note.pitch) > 0
    return short and onward and not following.picked and (not note.picked or note.piece.signs.dip_db < 3.0)


def filled(values: FloatArray) -> FloatArray:
    """Bridge holes in the pitch by straight lines."""
    known = ~np.isnan(values)
    if known.all():
        return values
    return np.interp(np.arange(len(values)), np.nonzero(known)[0], values[known])


def _fingered_level(values: FloatArray) -> float:
    """Pitch of the fret under a stretch: low in it, for a finger only ever raises the pitch."""
    return float(np.percentile(values, 30))


def _begin(
    piece: Piece, contour: FloatArray, gestures: Gestures, notes: list[NoteInMaking], reading: _Reading
) -> None:
    """Start the note that a piece begins with."""
    moves = gestures.moves
    settle = round(_SETTLE_S / reading.frame_s)
    stands = moves[0].first if moves else len(contour)
    level = _fingered_level(contour[: max(stands, 1)]) if stands >= settle or not moves else moves[0].start
    if moves and stands < settle and abs(level - round(level)) > 0.25:
        # A sound that begins between two frets is scooped up to, or slid to, where its pitch comes to stand.
        level = moves[0].target
    note = NoteInMaking(piece.onset, piece.last, round(level), True, piece)
    if notes:
        before = notes[-1]
        _join(note, before, level, bool(moves) and stands < settle, reading.settings)
        if not note.picked:
            note.onset = _slur_frame(piece, before)
            before.last = min(before.last, note.onset)
    notes.append(note)


def _join(
    note: NoteInMaking, before: NoteInMaking, level: float, glides_in: bool, settings: ListeningSettings
) -> None:
    """Say how a note came from the one before: picked, slid to (picked again or not), hammered or pulled."""
    change = level - (before.pitch + before.bend)
    glides_out = before.trailing is not None and before.trailing.extent * change > 0
    if note.pitch == before.pitch and before.bend < _BENT:
        return
    if note.piece.begins == "picked":
        if glides_out and before.trailing is not None and _leads_to(before.trailing, note.pitch):
            note.techniques.append(Technique("slide", picked=True))
            before.techniques = [t for t in before.techniques if t.kind != "slide_out"]
    elif glides_in or glides_out or _is_sustained_hole(note.piece):
        note.picked = False
        note.techniques.append(Technique("slide", picked=False))
        before.techniques = [t for t in before.techniques if t.kind != "slide_out"]
    elif note.piece.signs.gap_s <= _SLUR_GAP_S and abs(change) <= settings.widest_slur:
        note.picked = False
        note.techniques.append(Technique("hammer_on" if change > 0 else "pull_off"))


def _is_sustained_hole(piece: Piece) -> bool:
    """Whether the string sounded on, unpicked and without a pitch, for longer than a finger's slur takes."""
    return piece.signs.gap_s > _SLUR_GAP_S and piece.signs.dip_db < 8.5 and piece.signs.jump_db < 0.0


def _leads_to(move: Move, pitch: int) -> bool:
    """Whether a move at the end of a sound was on its way to this pitch."""
    return abs(move.extent) >= _SEMITONE_LEAST and abs(move.target - pitch) <= 0.6


def _slur_frame(piece: Piece, before: NoteInMaking) -> int:
    """Frame of a slur: its attack where it has one, else the middle of the hole in the pitch."""
    if before.piece.last <= piece.onset < piece.first:
        return piece.onset
    return (min(before.last, piece.first) + piece.first) // 2


def _arrival(
    piece: Piece, contour: FloatArray, gestures: Gestures, notes: list[NoteInMaking], reading: _Reading
) -> int:
    """Read a move that a piece begins in the middle of; return how many moves that used up.

    A joined piece that begins on the move is the end of a slide whose start had no clear pitch. A picked
    one is a slide in from nowhere, unless it is slow enough to be a bend from the first moment.
    """
    if not gestures.moves:
        return 0
    move, note = gestures.moves[0], notes[-1]
    settle = round(_SETTLE_S / reading.frame_s)
    # Where the pitch was on its way already from the note before, a bend would have to be clear.
    onward = not note.picked and len(notes) > 1 and (note.pitch - notes[-2].pitch) * move.extent > 0
    if move.first >= settle or _bend_odds(move, contour, reading) > (_CLEARLY_BENT if onward else 0.0):
        return 0
    if len(contour) - move.last < settle:
        return 0
    note.pitch = round(_fingered_level(contour[move.last : move.last + 4 * settle]))
    if note.picked:
        direction: Literal["up", "down"] = "up" if move.extent > 0 else "down"
        note.techniques.append(
            Technique(
                "slide_in",
                start_s=float(reading.times_s[piece.first]),
                end_s=float(reading.times_s[piece.first + move.last]),
                direction=direction,
            )
        )
    elif len(notes) > 1:
        note.techniques = [Technique("slide", picked=False)]
        note.onset = piece.first + _reached(move, contour)
        if note.pitch == notes[-2].pitch:
            note.techniques = []
    return 1


def _reached(move: Move, contour: FloatArray) -> int:
    """Frame of a piece at which a slide has come to its fret; the last few cents may take longer."""
    near = np.flatnonzero(np.abs(contour[move.first : move.last + 1] - move.target) <= _ON_FRET)
    return move.first + int(near[0]) if len(near) else move.last


def _bend_odds(move: Move, contour: FloatArray, reading: _Reading) -> float:
    """Log odds that a move is a pushed string's and not a slide's; too far to push is certainly a slide."""
    if abs(move.extent) > reading.settings.widest_bend:
        return -6.0
    return decision("bend").log_odds(
        bend_features(move, reading.frame_s, stand_after_s(move, contour, reading.frame_s))
    )


def stand_after_s(move: Move, contour: FloatArray, frame_s: float) -> float:
    """How long the pitch stays within a quarter-tone of a move's target, seconds."""
    away = np.nonzero(np.abs(contour[move.last :] - move.target) > 0.25)[0]
    frames = int(away[0]) if len(away) else len(contour) - move.last
    return frames * frame_s


def _follow(
    move: Move, piece: Piece, contour: FloatArray, notes: list[NoteInMaking], reading: _Reading
) -> None:
    """Read one move of a piece: bend, release, pre-bend, slide to another fret, or the end of the sound."""
    note = notes[-1]
    settle = round(_SETTLE_S / reading.frame_s)
    first, last = piece.first + move.first, piece.first + move.last
    start_s, end_s = float(reading.times_s[first]), float(reading.times_s[last])
    stays = len(contour) - move.last >= settle
    odds = _bend_odds(move, contour, reading)
    bend_like = odds > 0
    note.doubt = max(note.doubt, float(np.exp(-abs(odds))))
    height = move.target - note.pitch
    if stays and _is_step(move, reading):
        _slur_to(move, piece, notes, first, last)
    elif not stays and not (note.bend >= _BENT and move.extent < 0):
        _end_on_the_move(move, note, start_s, end_s)
    elif move.extent > 0 and bend_like and height >= _LEAST_BEND:
        note.bend = height
        note.techniques.append(Technique("bend", start_s, end_s, round(height, 2)))
    elif move.extent < 0 and note.bend >= _BENT and height > -0.5:
        note.bend = max(height, 0.0)
        note.techniques.append(
            Technique("release", start_s, end_s, round(note.bend, 2) if note.bend >= _BENT else 0.0)
        )
    elif bend_like and _falls_from_pre_bend(move, contour, note):
        _make_pre_bend(move, note, start_s, end_s, float(reading.times_s[note.onset]))
    else:
        target = round(move.target)
        if target != note.pitch:
            arrived = piece.first + _reached(move, contour)
            slid = NoteInMaking(arrived, piece.last, target, False, piece)
            slid.techniques.append(Technique("slide", start_s, end_s, picked=False))
            note.last = arrived
            notes.append(slid)


def _is_step(move: Move, reading: _Reading) -> bool:
    """Whether a change is as quick as the pitch window can show: a finger's, on or off the string."""
    seconds = (move.last - move.first) * reading.frame_s
    return (
        seconds <= reading.settings.step_s
        and _SEMITONE_LEAST <= abs(move.extent) <= reading.settings.widest_slur
    )


def _slur_to(move: Move, piece: Piece, notes: list[NoteInMaking], first: int, last: int) -> None:
    target = round(move.target)
    if target == notes[-1].pitch:
        return
    middle = (first + last) // 2
    slurred = NoteInMaking(middle, piece.last, target, False, piece)
    slurred.techniques.append(Technique("hammer_on" if move.extent > 0 else "pull_off"))
    notes[-1].last = middle
    notes.append(slurred)


def _falls_from_pre_bend(move: Move, contour: FloatArray, note: NoteInMaking) -> bool:
    """Whether a picked note stood high from its first moment and now falls to its fret."""
    stood = contour[: max(move.first, 1)]
    return (
        note.picked
        and not note.techniques
        and _LEAST_BEND <= move.start - round(move.target) <= _HIGHEST_PRE_BEND
        and abs(float(np.median(stood)) - move.start) < 0.25
    )


def _make_pre_bend(move: Move, note: NoteInMaking, start_s: float, end_s: float, onset_s: float) -> None:
    note.pitch = round(move.target)
    height = move.start - note.pitch
    note.techniques.append(Technique("pre_bend", onset_s, onset_s, round(height, 2)))
    note.techniques.append(Technique("release", start_s, end_s, 0.0))


def _end_on_the_move(move: Move, note: NoteInMaking, start_s: float, end_s: float) -> None:
    """A sound that ends while its pitch moves far was slid out of; a lifted finger's tail is too short."""
    note.trailing = move
    if abs(move.extent) >= 1.5 and end_s - start_s >= 0.08:
        direction: Literal["up", "down"] = "up" if move.extent > 0 else "down"
        note.techniques.append(Technique("slide_out", start_s, end_s, direction=direction))


def _add_vibrato(piece: Piece, gestures: Gestures, notes: list[NoteInMaking], reading: _Reading) -> None:
    """Give each vibrato to the note that sounds at its middle."""
    for vibrato in gestures.vibratos:
        middle = piece.first + (vibrato.first + vibrato.last) // 2
        owner = next((note for note in reversed(notes) if note.onset <= middle), notes[-1])
        owner.techniques.append(
            Technique(
                "vibrato",
                float(reading.times_s[piece.first + vibrato.first]),
                float(reading.times_s[piece.first + vibrato.last]),
                rate_hz=round(vibrato.rate_hz, 2),
                depth_semitones=round(vibrato.depth, 2),
            )
        )
