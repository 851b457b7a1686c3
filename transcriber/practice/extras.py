"""Notes of an attempt that the line does not have, and what only looks like one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from transcriber.practice.doubts import BLIP_S, LOUDER_DB, ClickRow
from transcriber.practice.evidence import Attempt
from transcriber.practice.found import Found
from transcriber.practice.report import ExtraNote
from transcriber.practice.wanted import Wanted
from transcriber.records.heard import HeardNote

# Quieter than the line by so much on the scale of velocities (halved every 15 dB): no note of the player's.
_QUIET_SHARE = 0.4
_SHORTEST_S = 0.05
_LEAST_ATTACK_DB = 8.0
# One as loud as the line that lasts a while needs less of a stroke to be believed.
_LOUD_SHARE, _LOUD_LASTS_S, _LOUD_ATTACK_DB = 0.75, 0.1, 3.0
_LEAST_SURE = 0.35
# A pitch that did not sound before comes up by more than this when it is played.
_COMES_UP_DB = 6.0


def extra_notes(
    attempt: Attempt, wanted: Sequence[Wanted], found: Mapping[int, Found], left: Sequence[int], shift: int
) -> tuple[ExtraNote, ...]:
    """List the notes that are one too many.

    Parameters
    ----------
    attempt : Attempt
    wanted : sequence of Wanted
    found : mapping of int to Found
        Each wanted note that was played.
    left : sequence of int
        Played notes that belong to no wanted one.
    shift : int
    """
    played = attempt.heard.notes
    matched = [note for i, note in enumerate(played) if i not in set(left)]
    usual = float(np.median([note.velocity for note in matched])) if matched else 0.0
    held = _held_pitches(attempt, left)
    clicks = ClickRow.of(attempt.heard.clicks_s)
    found_order = sorted(found.items(), key=lambda item: item[1].onset_s)
    listed = []
    for i in left:
        note = played[i]
        before = [number for number, one in found_order if one.onset_s <= note.onset_s]
        last = wanted[before[-1]] if before else None
        if (
            note.velocity < _QUIET_SHARE * usual
            or note.pitch_midi in held
            or not _is_note(attempt, note, usual)
            or _is_click(attempt, clicks, note, last, shift)
        ):
            continue
        if last is not None and _part_of(attempt, note, last, shift):
            continue
        covered = last is not None and found[before[-1]].played is None
        if covered and last is not None and note.pitch_midi == (last.pitch or 0) + shift:
            # Heard late, as another string covered its beginning.
            continue
        if any(abs(one.onset_s - note.onset_s) < 0.035 for one in found.values()):
            continue
        listed.append(
            ExtraNote(round(note.onset_s, 4), note.pitch_midi - shift, last.note.id if last else None)
        )
    return tuple(listed)


def _is_note(attempt: Attempt, note: HeardNote, usual: float) -> bool:
    lasts_s = note.end_s - note.onset_s
    if lasts_s < _SHORTEST_S or note.pitch_confidence < _LEAST_SURE:
        return False
    loud = note.velocity >= _LOUD_SHARE * usual and lasts_s >= _LOUD_LASTS_S
    if loud and attempt.attack(note.onset_s) >= _LOUD_ATTACK_DB:
        return True
    return note.has("hammer_on", "pull_off", "slide") or attempt.attack(note.onset_s) >= _LEAST_ATTACK_DB


def _is_click(attempt: Attempt, clicks: ClickRow, note: HeardNote, last: Wanted | None, shift: int) -> bool:
    """Whether a click, not a string, was taken for a note: its pitch does not come up in what sounds."""
    if clicks.near(note.onset_s) and note.end_s - note.onset_s < BLIP_S:
        return True
    sounding = None if last is None or last.pitch is None else last.pitch + shift
    if sounding == note.pitch_midi:
        return attempt.struck_again(note.pitch_midi, note.onset_s) < LOUDER_DB
    apart = () if sounding is None else (float(sounding),)
    up = attempt.comes_up(note.pitch_midi, note.onset_s, apart)
    return up != 0.0 and up < _COMES_UP_DB


def _part_of(attempt: Attempt, note: HeardNote, last: Wanted, shift: int) -> bool:
    """Whether it is what a gesture of the note before passes through, split off by listening."""
    if last.pitch is None:
        return False
    low, high = last.pitch + shift, last.pitch + shift + last.height
    moves = last.height > 0 or last.note.has("vibrato", "release", "trill", "slide_out")
    within = low - 1 <= note.pitch_midi <= high + 1
    if last.note.has("trill"):
        within = True
    return moves and within and not (note.pitch_midi == low and attempt.attack(note.onset_s) > 18.0)


def _held_pitches(attempt: Attempt, left: Sequence[int]) -> frozenset[int]:
    """Pitches that come back again and again among what belongs to no note: a drone, or a backing."""
    count: dict[int, int] = {}
    for i in left:
        pitch = attempt.heard.notes[i].pitch_midi
        count[pitch] = count.get(pitch, 0) + 1
    weak = {
        attempt.heard.notes[i].pitch_midi
        for i in left
        if attempt.attack(attempt.heard.notes[i].onset_s) < _LEAST_ATTACK_DB + 4.0
    }
    return frozenset(pitch for pitch, times in count.items() if times >= 3 and pitch in weak)
