"""What small notes mean together: trills, graces, slides in and out, and a held bend that is picked again."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise
from typing import Literal

from transcriber.listening.strokes import NoteInMaking
from transcriber.listening.trills import Trill
from transcriber.records.technique import Technique

SameString = Callable[[NoteInMaking, NoteInMaking], bool]

_REACH = 4  # frames around a trill's ends
_STRUCK = 2.0  # log odds from which a note within an alternation was picked anew
_HELD_S = 0.3  # a picked note that lasts longer is none of a trill's
_LATEST_START = 2  # notes of an alternation that may stand before the trill itself
_GRACE_S = 0.072  # a grace lasts about 60 ms; the quickest written notes 77 ms (sextuplets at 130)
_GRACE_NEIGHBOUR = 2.0  # times a grace's length that its neighbours last at least
_SLIDE_IN_S = 0.075
_SLIDE_OUT_S = 0.065
_HELD_GAP_S = 0.09
_SAME = 0.35  # semitones between a held bend's pitch and the picked one's
_ARRIVALS = ("hammer_on", "pull_off", "slide")
_BENT = 0.75


def with_ornaments(
    notes: list[NoteInMaking], trills: list[Trill], frame_s: float, same_string: SameString
) -> list[NoteInMaking]:
    """Read small notes together with their neighbours.

    Parameters
    ----------
    notes : list of NoteInMaking
        In order; changed in place where a technique is added.
    trills : list of Trill
    frame_s : float
        Seconds between frames.
    same_string : callable
        Tells of two notes that sound at one pitch whether they are one string.
    """
    for trill in trills:
        notes = _with_trill(notes, trill, frame_s)
    notes = _with_slides_out(notes, frame_s)
    notes = _with_slides_in(notes, frame_s)
    _mark_graces(notes, frame_s)
    _mark_repicked_bends(notes, frame_s, same_string)
    return notes


def _with_trill(notes: list[NoteInMaking], trill: Trill, frame_s: float) -> list[NoteInMaking]:
    """Fold all notes of a trill into its first: the last one picked as it begins, or what was held before."""
    inside = [n for n in notes if trill.first - _REACH <= n.onset < trill.last - _REACH]
    struck = [
        index
        for index, n in enumerate(inside)
        if n.picked and (n.piece.pick_odds > _STRUCK or _lasts(n, frame_s) > _HELD_S)
    ]
    begin = max((index for index in struck if index <= _LATEST_START), default=0)
    stop = min((index for index in struck if index > max(begin, _LATEST_START)), default=len(inside))
    within = inside[begin:stop]
    before = [n for n in notes if n.onset < trill.first - _REACH]
    if not within and not before:
        return notes
    pitches = (trill.pitch, trill.pitch + trill.interval)
    # A trill may begin late in a note that is held first: then the held note carries it.
    held = bool(before) and not begin and (not within or within[0].pitch != trill.pitch)
    owner = before[-1] if held and before[-1].pitch in pitches else within[0] if within else before[-1]
    other = next((pitch for pitch in pitches if pitch != owner.pitch), trill.pitch)
    owner.last = max([owner.last, *(n.last for n in within)])
    owner.techniques = [t for t in owner.techniques if t.kind in _ARRIVALS]
    owner.techniques.append(Technique("trill", semitones=float(other - owner.pitch)))
    return [n for n in notes if n is owner or n not in within]


def _with_slides_out(notes: list[NoteInMaking], frame_s: float) -> list[NoteInMaking]:
    """A pitch slid to that is left at once, for silence or a new pick, was not meant to be heard."""
    kept: list[NoteInMaking] = []
    for index, note in enumerate(notes):
        following = notes[index + 1] if index + 1 < len(notes) else None
        left = following is None or following.picked
        if kept and left and not note.picked and note.has("slide") and _lasts(note, frame_s) <= _SLIDE_OUT_S:
            before = kept[-1]
            direction: Literal["up", "down"] = "up" if note.pitch > before.pitch else "down"
            before.techniques = [t for t in before.techniques if t.kind != "slide_out"]
            before.techniques.append(Technique("slide_out", direction=direction))
            before.last = note.last
        else:
            kept.append(note)
    return kept


def _with_slides_in(notes: list[NoteInMaking], frame_s: float) -> list[NoteInMaking]:
    """A pick that is slid away from at once was a slide in to where the finger came to rest."""
    kept: list[NoteInMaking] = []
    for note in notes:
        before = kept[-1] if kept else None
        if (
            before is not None
            and before.picked
            and not note.picked
            and note.has("slide")
            and (note.onset - before.onset) * frame_s <= _SLIDE_IN_S
            and not before.has("slide")
        ):
            direction: Literal["up", "down"] = "up" if note.pitch > before.pitch else "down"
            note.techniques = [t for t in note.techniques if t.kind != "slide"]
            note.techniques.append(Technique("slide_in", direction=direction))
            note.onset, note.picked, note.piece = before.onset, True, before.piece
            kept[-1] = note
        else:
            kept.append(note)
    return kept


def _mark_graces(notes: list[NoteInMaking], frame_s: float) -> None:
    """Mark the short note that is slurred into a long one, when what came before was no run of such notes."""
    for index, (note, following) in enumerate(pairwise(notes)):
        length = (following.onset - note.onset) * frame_s
        before = notes[index - 1] if index else None
        run = before is not None and (note.onset - before.onset) * frame_s < _GRACE_NEIGHBOUR * length
        brief = _lasts(following, frame_s) < _GRACE_NEIGHBOUR * length
        marked = note.has("grace")
        if not marked and length <= _GRACE_S and not run and not brief and not following.picked:
            note.techniques.insert(0, Technique("grace"))


def _mark_repicked_bends(notes: list[NoteInMaking], frame_s: float, same_string: SameString) -> None:
    """A held bend picked again starts where the bend stood: the finger is still two frets below."""
    for before, note in pairwise(notes):
        gap_s = (note.onset - before.last) * frame_s
        sounds_at = before.pitch + before.bend
        plain = not note.has("bend", "pre_bend", "release")
        if before.bend < _BENT or not note.picked or not plain or gap_s > _HELD_GAP_S:
            continue
        if abs(note.pitch - sounds_at) <= _SAME and same_string(before, note):
            height = round(sounds_at - before.pitch, 2)
            note.pitch, note.bend = before.pitch, before.bend
            note.techniques.insert(0, Technique("pre_bend", semitones=height))


def _lasts(note: NoteInMaking, frame_s: float) -> float:
    return (note.last - note.onset) * frame_s
