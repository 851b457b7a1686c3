"""What a state of the hand and a move between two states cost, as named features times fitted weights.

Cost of the place plus cost of the move follows Sayegh (1989) and Radisavljevic and Driessen (2004); the
features are the project's own. `models/fretting.json` holds the weight of each feature. Every feature is zero
or positive, and so is every weight, so a cost of 0 is the most comfortable there is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
import numpy.typing as npt

from transcriber.fretboard.hands import HandStates
from transcriber.fretboard.scales import passing_notes
from transcriber.records.pitch import SEMITONES

FloatArray = npt.NDArray[np.float64]
Features = Iterator[tuple[str, FloatArray]]

# A string can be pushed far on strings 1 to 3; lower ones are wound and heavy.
_BENDING_STRINGS = 3
_STIFF_BELOW_FRET = 5
_NUT_POSITION = 2
_NEAR_NUT_POSITION = 4
# Frets that a hand reaches, from its position.
_AROUND_POSITION = np.arange(-1, 5)


class Move(Enum):
    """How a note follows the one before it."""

    PICKED = "picked"
    SLURRED = "slurred"
    SLID = "slid"
    RUNG_OVER = "rung_over"


@dataclass(frozen=True)
class Demand:
    """What a note asks of its place beyond its pitch.

    Attributes
    ----------
    bend_semitones : float
        Height of its bend or pre-bend, 0 for none.
    vibrato : bool
    gliding : bool
        Slides in or out, which needs a fret.
    scale : frozenset of int
        Pitch classes of the notes around it.
    gapped_scale : bool
        The notes around it leave scale steps out, as a pentatonic does: then hands play two notes a string
        and stretch less than over a scale of seven notes.
    given_position : int or None
        Where the player said the hand is at the start.
    hold : float
        How firmly that still holds at this note, 1 at the first note, falling to 0 within some notes.
    pull : float
        How much is left of the hand's bent for staying there, 1 at the first note; rests wear it off.
    """

    bend_semitones: float = 0.0
    vibrato: bool = False
    gliding: bool = False
    scale: frozenset[int] = frozenset()
    gapped_scale: bool = False
    given_position: int | None = None
    hold: float = 0.0
    pull: float = 1.0


def demand_features(states: HandStates, demand: Demand, hard_cost: float) -> Features:
    """Yield (name, values of shape (n,)) of what each state costs by itself."""
    open_string = _number(states.finger == 0)
    fretted = 1 - open_string
    if demand.given_position is None:
        # Where on the neck lines lie in general; once told, the hand has no reason to be drawn elsewhere.
        yield "fret_beyond_12", _number(np.maximum(states.fret - 12, 0)) / 12
        yield "thick_string", _number(states.string - 1) / max(states.strings - 1, 1)
        yield "position_below_5", fretted * _number(np.maximum(5 - states.position, 0)) / 4
    yield "middle_finger", _number(states.finger == 2)
    yield "little_finger", _number(states.finger == 4)
    yield from _stretch_features(states, demand.gapped_scale)
    yield from _crowding_features(states, demand)
    yield from _open_features(states, open_string, demand)
    if demand.bend_semitones > 0:
        yield from _bend_features(states, open_string, demand.bend_semitones, hard_cost)
    if demand.vibrato:
        yield "vibrato_open", open_string
        yield "vibrato_little_finger", _number(states.finger == 4)
    if demand.gliding:
        yield "fixed", hard_cost * open_string
    if demand.given_position is not None:
        away = np.abs(states.position - max(demand.given_position, 1))
        yield "away_from_given", demand.hold * _number(away > 0)
        yield "frets_from_given", demand.hold * _number(np.minimum(away, 12)) / 4
        yield "strayed_from_given", demand.pull * _number(np.minimum(away, 7)) / 4


def _stretch_features(states: HandStates, gapped_scale: bool) -> Features:
    # Frets narrow by a factor of two in an octave, and with them the stretch.
    width = np.exp2(-_number(states.fret) / 12)
    reach = states.fret - states.position
    between = width * _number((states.finger > 0) & (states.finger < 4) & (reach == states.finger))
    up = width * _number((states.finger == 4) & (reach == 4))
    back = width * _number((states.finger == 1) & (reach == -1))
    yield "stretch", between
    yield "stretch_little_finger", up
    yield "stretch_back_in_gapped_scale" if gapped_scale else "stretch_back", back
    if gapped_scale:
        yield "stretch_in_gapped_scale", between + up


def _crowding_features(states: HandStates, demand: Demand) -> Features:
    """Yield whether the hand would play more notes of the scale on one string than is usual.

    That is two of a gapped scale and three of a full one (common practice); the passing note of a blues
    scale comes on top.
    """
    counted = demand.scale - passing_notes(demand.scale) if demand.gapped_scale else demand.scale
    in_scale = np.zeros(SEMITONES, dtype=bool)
    in_scale[list(counted)] = True
    around = states.position[:, None] + _AROUND_POSITION
    below = around < states.fret[:, None]
    beneath = (in_scale[(states.open_midi[:, None] + around) % SEMITONES] & below).sum(axis=1)
    usual = 2 if demand.gapped_scale else 3
    name = "third_on_string_in_gapped_scale" if demand.gapped_scale else "fourth_on_string"
    own = in_scale[states.pitch_midi % SEMITONES] | (not demand.gapped_scale)
    yield name, _number((beneath >= usual) & (states.finger > 0) & own)


def _open_features(states: HandStates, open_string: FloatArray, demand: Demand) -> Features:
    at_nut = states.position <= _NUT_POSITION
    near_nut = states.position <= _NEAR_NUT_POSITION
    yield "open_near_nut", open_string * _number(near_nut & ~at_nut)
    yield "open_up_the_neck", open_string * _number(~near_nut)
    passed_over = _number(states.open_elsewhere & near_nut)
    if demand.given_position is None:
        yield "open_at_nut", open_string * _number(at_nut)
        yield "open_passed_over", passed_over
    elif demand.given_position > 0:
        yield "open_though_position_given", open_string
    else:
        yield "open_passed_over_in_open_position", passed_over


def _bend_features(
    states: HandStates, open_string: FloatArray, semitones: float, hard_cost: float
) -> Features:
    low = _number(np.maximum(_STIFF_BELOW_FRET - states.fret, 0)) / _STIFF_BELOW_FRET
    yield "fixed", hard_cost * open_string
    yield "bend_low_fret", semitones * low
    yield "bend_heavy_string", _number(states.string > _BENDING_STRINGS) * min(semitones, 2.0) / 2
    yield "bend_index_finger", _number(states.finger == 1) * min(semitones, 2.0) / 2
    yield "bend_middle_finger", _number(states.finger == 2)


@dataclass(frozen=True)
class Pair:
    """States of two notes that follow each other, n and m of them."""

    before: HandStates
    after: HandStates

    def both(self, name: str) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
        """One attribute of the states before and after, shaped (n, 1) and (1, m) for broadcasting."""
        return getattr(self.before, name)[:, None], getattr(self.after, name)[None, :]


def move_features(pair: Pair, move: Move, gapped_scale: bool, hard_cost: float) -> tuple[Features, Features]:
    """Return the features of a move, each of shape (n, m): those at leisure, and those that count in haste.

    The second kind is weighted by how little time there is.
    """
    if move is Move.SLID:
        return _slide_features(pair, hard_cost), iter(())
    if move is Move.SLURRED:
        return _slur_features(pair, hard_cost), iter(())
    if move is Move.RUNG_OVER:
        return _ring_features(pair, gapped_scale, hard_cost), _haste_features(pair)
    return _leisure_features(pair, gapped_scale), _haste_features(pair)


def _shift(pair: Pair) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """Signed shift of the hand in frets, and its scale: half where an open string leaves the hand free."""
    before, after = pair.both("position")
    finger_before, finger_after = pair.both("finger")
    scale = np.where((finger_before == 0) | (finger_after == 0), 0.5, 1.0)
    return after - before, scale


def _leisure_features(pair: Pair, gapped_scale: bool) -> Features:
    shift, scale = _shift(pair)
    string_before, string_after = pair.both("string")
    pitch_before, pitch_after = pair.both("pitch_midi")
    apart = np.abs(string_after - string_before)
    yield "shift", scale * _number(np.abs(shift) > 1)
    yield "shift_by_one", scale * _number(np.abs(shift) == 1)
    yield "shift_frets", scale * _near(np.abs(shift))
    yield "shift_frets_beyond_4", scale * _far(np.abs(shift))
    if gapped_scale:
        yield "shift_in_gapped_scale", scale * _number(shift != 0)
    # A shift of one fret is how a hand settles on a shape, whichever way the line goes.
    against = (np.abs(shift) > 1) & (np.sign(shift) * np.sign(pitch_after - pitch_before) < 0)
    yield "shift_against_line", scale * _number(against)
    yield "next_string", _number(apart == 1)
    yield "string_skipped", _number(apart == 2)
    yield "strings_leapt", _number(apart > 2)
    yield "same_pitch_elsewhere", _number((pitch_before == pitch_after) & (apart > 0))
    yield "to_or_from_open", _number((pair.both("finger")[0] == 0) != (pair.both("finger")[1] == 0))


def _haste_features(pair: Pair) -> Features:
    shift, scale = _shift(pair)
    distance = np.abs(shift)
    string_before, string_after = pair.both("string")
    fret_before, fret_after = pair.both("fret")
    finger_before, finger_after = pair.both("finger")
    apart = np.abs(string_after - string_before)
    same_finger = (finger_before == finger_after) & (finger_after > 0)
    yield "hasty_shift", scale * _number(distance > 1)
    yield "hasty_shift_by_one", scale * _number(distance == 1)
    yield "hasty_shift_frets", scale * _near(distance)
    yield "hasty_shift_frets_beyond_4", scale * _far(distance)
    yield "finger_rolled", _number(same_finger & (apart == 1) & (fret_before == fret_after))
    yield "finger_lifted_over", _number(same_finger & (apart > 1) & (fret_before == fret_after))
    yield "finger_hop", _number(same_finger & (apart > 0) & (fret_before != fret_after))
    yield "finger_slip", _number(same_finger & (apart == 0) & (fret_before != fret_after))
    yield "finger_swap", _number((finger_before != finger_after) & (apart == 0) & (fret_before == fret_after))


def _slide_features(pair: Pair, hard_cost: float) -> Features:
    shift, _ = _shift(pair)
    string_before, string_after = pair.both("string")
    fret_before, fret_after = pair.both("fret")
    finger_before, finger_after = pair.both("finger")
    open_end = _number(finger_before == 0) + _number(finger_after == 0)
    yield "fixed", hard_cost * (_number(string_before != string_after) + open_end)
    dragged = (finger_before == finger_after) & (shift == fret_after - fret_before)
    yield "slide_changes_finger", _number(~dragged)


def _slur_features(pair: Pair, hard_cost: float) -> Features:
    shift, scale = _shift(pair)
    string_before, string_after = pair.both("string")
    fret_before, fret_after = pair.both("fret")
    finger_before, finger_after = pair.both("finger")
    rising = np.sign(fret_after - fret_before)
    in_order = np.sign(finger_after - finger_before) == rising
    yield "fixed", hard_cost * (_number(string_before != string_after) + _number(~in_order))
    yield "slur_shift", scale * _number(shift != 0)
    yield "shift_frets", scale * _near(np.abs(shift))
    yield "shift_frets_beyond_4", scale * _far(np.abs(shift))


def _ring_features(pair: Pair, gapped_scale: bool, hard_cost: float) -> Features:
    """Yield the features of a note under which the one before rings on: its finger cannot leave."""
    shift, _ = _shift(pair)
    string_before, string_after = pair.both("string")
    fret_before, fret_after = pair.both("fret")
    finger_before, finger_after = pair.both("finger")
    pinned = finger_before > 0
    moved = pinned & ((shift != 0) | ((finger_before == finger_after) & (fret_before != fret_after)))
    yield "fixed", hard_cost * (_number(string_before == string_after) + _number(moved))
    yield from _leisure_features(pair, gapped_scale)


def weigh(features: Features, weights: Mapping[str, float], shape: tuple[int, ...]) -> FloatArray:
    """Add up features times weights; the feature ``fixed`` is a cost already."""
    total = np.zeros(shape)
    for name, values in features:
        total += values if name == "fixed" else weights[name] * values
    return total


def _near(distance: npt.NDArray[np.int64]) -> FloatArray:
    """Quarters of a hand's breadth moved beyond one fret, within the first breadth of four frets."""
    return _number(np.clip(distance - 1, 0, 3)) / 4


def _far(distance: npt.NDArray[np.int64]) -> FloatArray:
    """Hands' breadths moved beyond the first, up to an octave."""
    return _number(np.clip(distance - 4, 0, 8)) / 4


def _number(values: npt.NDArray[np.bool_] | npt.NDArray[np.int64]) -> FloatArray:
    return values.astype(np.float64)
