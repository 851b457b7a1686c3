"""Placing a line on the neck: the cheapest path of hands, and how sure each place is."""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from transcriber.errors import UsageError
from transcriber.fretboard.costs import Demand, Move
from transcriber.fretboard.fretting_model import FrettingModel, read_fretting_model
from transcriber.fretboard.hands import HandStates, NoteKey, places_of
from transcriber.fretboard.lattice import Lattice, Step
from transcriber.fretboard.phrases import check_spans, other_fingerings, phrase_bounds
from transcriber.fretboard.pins import Pins, pinned_key
from transcriber.fretboard.playability import too_fast_shifts
from transcriber.fretboard.scales import is_gapped, scales_around
from transcriber.fretboard.sound import with_sound
from transcriber.records.heard import HeardNote
from transcriber.records.phrased import PhraseFingering, PhrasePlaces
from transcriber.records.pitch import pitch_name
from transcriber.records.placed import Instrument, Place, Placed
from transcriber.records.problem import Problem

FloatArray = npt.NDArray[np.float64]
Span = tuple[int, int]

# A slur less sure than this (as listening measures it) does not bind a note to its string: a soft pick on the
# next string sounds much like one.
_SURE_SLUR = 0.9
# Pitches out of range that are named one by one.
_MOST_NAMED = 4


def place_notes(
    notes: Sequence[HeardNote], instrument: Instrument, position: int | None = None, pins: Pins | None = None
) -> Placed:
    """Choose a string, a fret and a finger for every note of a line.

    Parameters
    ----------
    notes : sequence of HeardNote
        In order of onset.
    instrument : Instrument
    position : int or None
        Fret of the index finger at the start, counted from the capo; 0 for open position, None if not told.
    pins : mapping of int to (int, int), optional
        String and fret of notes that a person has placed, by index; the line is fingered around them.

    Returns
    -------
    Placed
        One place for each note, None where the pitch is out of the instrument's range, with a problem that
        names pitch and range. A shift faster than a hand goes, which happens only where nothing else can be
        played or pins or the sound ask for it, is a problem too.

    Raises
    ------
    UsageError
        If there is no such position on the instrument, or a pin does not sound its note.
    """
    return _placed_from(_finger(notes, instrument, position, pins or {}), len(notes))


def place_phrases(
    notes: Sequence[HeardNote],
    instrument: Instrument,
    position: int | None = None,
    pins: Pins | None = None,
    beat_s: float = 0.5,
    spans: Sequence[Span] | None = None,
) -> tuple[Placed, tuple[PhrasePlaces, ...]]:
    """Place a line as `place_notes` does, and list the best other fingerings of each phrase.

    Parameters
    ----------
    notes, instrument, position, pins
        See `place_notes`.
    beat_s : float
        Length of a beat: silences of about one part phrases, unless they are given.
    spans : sequence of (int, int), optional
        Phrases found otherwise: first note of each and the note after its last, in order, covering all notes.

    Returns
    -------
    Placed
    tuple of PhrasePlaces
        In order, covering all notes.

    Raises
    ------
    UsageError
        As `place_notes`.
    ValueError
        If `spans` leave notes out or overlap.
    """
    fingered = _finger(notes, instrument, position, pins or {})
    if spans is None:
        spans = phrase_bounds(notes, fingered.model.phrase_rest_beats * beat_s)
    check_spans(spans, len(notes))
    phrases = []
    for first, stop in spans:
        span = bisect_left(fingered.indices, first), bisect_left(fingered.indices, stop)
        others = []
        if span[0] < span[1]:
            others = other_fingerings(fingered.lattice, fingered.steps, fingered.path, span, fingered.model)
        spread = tuple(_spread(other, fingered.indices[slice(*span)], first, stop) for other in others)
        phrases.append(PhrasePlaces(first, stop, spread))
    return _placed_from(fingered, len(notes)), tuple(phrases)


@dataclass(frozen=True)
class Fingered:
    """A line with its cheapest path.

    Attributes
    ----------
    indices : tuple of int
        The notes that can be played, one for each step.
    steps : tuple of Step
    path : tuple of int
        State of each step.
    lattice : Lattice
    model : FrettingModel
    instrument : Instrument
    problems : tuple of Problem
    """

    indices: tuple[int, ...]
    steps: tuple[Step, ...]
    path: tuple[int, ...]
    lattice: Lattice
    model: FrettingModel
    instrument: Instrument
    problems: tuple[Problem, ...]


def _finger(notes: Sequence[HeardNote], instrument: Instrument, position: int | None, pins: Pins) -> Fingered:
    if position is not None:
        validate_position(position, instrument)
    model = read_fretting_model()
    keys, problems = _choose_keys(notes, instrument, pins)
    playable = {index: key for index, key in enumerate(keys) if key is not None}
    lattice = Lattice(instrument, model)
    steps: list[Step] = []
    path: tuple[int, ...] = ()
    if playable:
        heard = [notes[i] for i in playable]
        steps = plan_steps(heard, list(playable.values()), position, model)
        steps = with_sound(steps, heard, instrument, lattice, model)
        path = tuple(lattice.cheapest_path(steps))
        problems += too_fast_shifts(lattice, steps, path, heard)
    return Fingered(tuple(playable), tuple(steps), path, lattice, model, instrument, tuple(problems))


def _placed_from(fingered: Fingered, count: int) -> Placed:
    places: list[Place | None] = [None] * count
    if fingered.steps:
        posteriors = fingered.lattice.posteriors(fingered.steps)
        chosen = zip(fingered.indices, fingered.steps, fingered.path, posteriors, strict=True)
        for index, step, state, posterior in chosen:
            place = _place_from(fingered.lattice.states(step.key), state, posterior)
            places[index] = _with_others(place, step.key, fingered.instrument)
    return Placed(places=tuple(places), problems=fingered.problems)


def _with_others(place: Place, key: NoteKey, instrument: Instrument) -> Place:
    """Name the other places of a pinned note, which the search was not offered."""
    if key.pinned is None:
        return place
    others = tuple(each for each in places_of(replace(key, pinned=None), instrument) if each != key.pinned)
    return replace(place, others=others)


def _spread(other: PhraseFingering, indices: Sequence[int], first: int, stop: int) -> PhraseFingering:
    """Leave a gap for each note that cannot be played."""
    places = dict(zip(indices, other.places, strict=True))
    return replace(other, places=tuple(places.get(index) for index in range(first, stop)))


def validate_position(position: int, instrument: Instrument) -> None:
    """Refuse a hand position that the neck does not have.

    Raises
    ------
    UsageError
        If `position` is below 0 or beyond the highest fret, counted from the capo.
    """
    if not 0 <= position <= instrument.highest_fret:
        over_capo = f" above the capo at {instrument.capo}" if instrument.capo else ""
        nearest = min(max(position, 0), instrument.highest_fret)
        raise UsageError(
            f"position {position} is out of 0 to {instrument.highest_fret}{over_capo}; "
            f"the nearest that works is {nearest}, and 0 is open position"
        )


def plan_steps(
    notes: Sequence[HeardNote], keys: Sequence[NoteKey], position: int | None, model: FrettingModel
) -> list[Step]:
    """Say of each note what the lattice needs: key, demand, how it follows the one before, in what haste."""
    scales = scales_around([note.pitch_midi for note in notes], model.scale_reach_notes)
    pull = 1.0
    steps = []
    for index, (note, key) in enumerate(zip(notes, keys, strict=True)):
        before = notes[index - 1] if index else None
        hold = model.given_hold_per_note**index if position is not None else 0.0
        if before is not None:
            pull *= math.exp(-max(note.onset_s - before.end_s, 0.0) / model.given_rest_s)
        demand = Demand(
            bend_semitones=_bend_height(note),
            vibrato=note.has("vibrato"),
            scale=scales[index],
            gapped_scale=is_gapped(scales[index]),
            gliding=note.has("slide_in", "slide_out"),
            given_position=position,
            hold=hold if hold >= model.given_hold_floor else 0.0,
            # In tenths, so that equal demands are weighed once; of no account where no position is told.
            pull=round(pull, 1) if position is not None else 1.0,
        )
        steps.append(
            Step(
                key=key,
                demand=demand,
                move=_move_between(before, note, model) if before else Move.PICKED,
                haste=_haste(before, note, model) if before else 0.0,
                reach=_reach(before, note, model) if before else None,
            )
        )
    return steps


def _choose_keys(
    notes: Sequence[HeardNote], instrument: Instrument, pins: Pins
) -> tuple[list[NoteKey | None], list[Problem]]:
    keys: list[NoteKey | None] = []
    problems = []
    for index, note in enumerate(notes):
        key = NoteKey(note.pitch_midi, harmonic=note.has("natural_harmonic"))
        if key.harmonic and not places_of(key, instrument):
            problems.append(
                Problem(
                    "no_harmonic_node",
                    f"no open string has {pitch_name(note.pitch_midi)} as a natural harmonic; "
                    "it is placed as a fretted note",
                    note.onset_s,
                    note.end_s,
                )
            )
            key = NoteKey(note.pitch_midi)
        if index in pins:
            key = pinned_key(key, pins[index], note, instrument)
        keys.append(key if places_of(key, instrument) else None)
    beyond = [note for note, key in zip(notes, keys, strict=True) if key is None]
    if beyond:
        problems.append(_out_of_range(beyond, instrument))
    return keys, problems


def _out_of_range(notes: Sequence[HeardNote], instrument: Instrument) -> Problem:
    """Name all notes that the instrument does not have in one problem."""
    lowest = min(instrument.tuning_midi) + instrument.capo
    highest = max(instrument.tuning_midi) + instrument.frets
    pitches = sorted({note.pitch_midi for note in notes})
    names = ", ".join(f"{pitch_name(pitch)} (MIDI {pitch})" for pitch in pitches[:_MOST_NAMED])
    if len(pitches) > _MOST_NAMED:
        names += f" and {len(pitches) - _MOST_NAMED} more"
    count = "1 note is" if len(notes) == 1 else f"{len(notes)} notes are"
    return Problem(
        "pitch_out_of_range",
        f"{count} out of the range of {instrument.name}, {pitch_name(lowest)} to {pitch_name(highest)}: "
        f"{names}; check tuning, capo and number of frets",
        notes[0].onset_s,
        max(note.end_s for note in notes),
    )


def _bend_height(note: HeardNote) -> float:
    heights = [
        technique.semitones if technique.semitones is not None else 2.0
        for technique in note.techniques
        if technique.kind in ("bend", "pre_bend")
    ]
    return round(2 * max(heights)) / 2 if heights else 0.0


def _move_between(before: HeardNote, note: HeardNote, model: FrettingModel) -> Move:
    if note.onset_s - before.end_s <= model.slur_gap_s:
        if note.has("slide"):
            return Move.SLID
        if note.has("hammer_on", "pull_off") and note.technique_confidence >= _SURE_SLUR:
            return Move.SLURRED
    overlap = before.end_s - note.onset_s
    if overlap > model.overlap_s or (before.has("let_ring") and overlap > 0):
        return Move.RUNG_OVER
    return Move.PICKED


def _reach(before: HeardNote, note: HeardNote, model: FrettingModel) -> int | None:
    """Frets that the hand can shift between two onsets; a slide is heard to get there, so it has no bound."""
    if _move_between(before, note, model) is Move.SLID:
        return None
    apart = max(note.onset_s - before.onset_s, 0.0)
    # The small allowance keeps a shift of exactly the bound from being lost to binary fractions.
    return math.floor(model.fastest_shift_frets_per_s * apart + 1e-6)


def _haste(before: HeardNote, note: HeardNote, model: FrettingModel) -> float:
    """How little time the hand has for a move, 1 for none, falling to 0 with time.

    A player may lift a note somewhat early to move; all of a rest is free.
    """
    apart = max(note.onset_s - before.onset_s, 0.0)
    rest = max(note.onset_s - max(before.end_s, before.onset_s), 0.0)
    free = model.share_of_note_free * min(apart - rest, model.longest_lift_s) + rest
    return math.exp(-free / model.haste_time_s)


def _place_from(states: HandStates, state: int, posterior: FloatArray) -> Place:
    """Gather a note's chosen state and posterior into a place with its confidence and the other places."""
    of_places = np.bincount(states.place, posterior, len(states.places)).tolist()
    shares = dict(zip(states.places, of_places, strict=True))
    chosen = (int(states.string[state]), int(states.fret[state]))
    others = sorted(shares.keys() - {chosen}, key=lambda place: (-round(shares[place], 6), place))
    return Place(
        string=chosen[0],
        fret=chosen[1],
        finger=int(states.finger[state]),
        confidence=round(min(shares[chosen], 1.0), 4),
        others=tuple(others),
    )
