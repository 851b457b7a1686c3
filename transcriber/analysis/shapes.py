"""Out of which shape each stretch of a line is played.

Task: for every note a shape on the neck, changed as seldom as it can be. A note costs nothing in a shape that
holds its very place, a little where the scale holds it just beside the shape, more where it stands outside; a
change costs too, less at the beginning of a phrase and where the hand slides or shifts; so does a shape that
has little to do with the key. The cheapest path through all shapes of the neck is found by Viterbi's method.
The figures are set by hand (``models/shapes.json``).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import numpy.typing as npt

from transcriber.analysis.neck_shapes import NeckShape, shapes_on
from transcriber.analysis.scales import MODE_DEGREE, Scale, scale_on
from transcriber.models import load_model, parameters_of
from transcriber.records.analysed import LinePoint, ShapeSpan
from transcriber.records.placed import Instrument

FloatArray = npt.NDArray[np.float64]
_SHIFT_FRETS = 3
_MINOR_LIKE = ("minor", "dorian", "phrygian", "locrian")
_BESIDE_FRETS = 1


@dataclass(frozen=True)
class ShapeParameters:
    """Costs; see ``models/shapes.json``.

    Attributes
    ----------
    pentatonic, scale : float
        A note in its place of the shape.
    beside : float
        A note of the scale up to one fret beside the shape, on top.
    outside : float
        A note that the shape does not explain.
    outside_in_key : float
        The same for a note of the key: a shape that holds the whole scale would explain it.
    approach_share : float
        Share of `outside` that a note outside the key pays which leads by a half step to the next.
    change : float
        A change of shape.
    phrase_relief, shift_relief : float
        How much less it costs at the beginning of a phrase, and where the hand slides or shifts.
    parallel, in_key, foreign : float
        A change to a shape of the parallel minor; to one that is not the key's own but within its scale; to
        any other.
    """

    pentatonic: float
    scale: float
    beside: float
    outside: float
    outside_in_key: float
    approach_share: float
    change: float
    phrase_relief: float
    shift_relief: float
    parallel: float
    in_key: float
    foreign: float


@cache
def shipped_shape_parameters() -> ShapeParameters:
    """Return the parameters that ship with the program."""
    return parameters_of("shapes", load_model("shapes")["parameters"], ShapeParameters)


def find_shapes(
    points: Sequence[LinePoint],
    phrases: Sequence[tuple[int, int]],
    scale: Scale,
    instrument: Instrument,
) -> list[ShapeSpan]:
    """Part a line into spans that are each played out of one shape.

    Parameters
    ----------
    points : sequence of LinePoint
        With their places; one without a place goes with its neighbours and is not explained.
    phrases : sequence of (int, int)
        First note of each phrase and the one after its last. A span ends with its phrase.
    scale : Scale
        The key.
    instrument : Instrument

    Returns
    -------
    list of ShapeSpan
        In order, covering all notes; of kind ``position`` where no shape explains half of the notes.
    """
    if not points:
        return []
    asked = shipped_shape_parameters()
    strings = range(1, len(instrument.tuning_midi) + 1)
    opens = tuple(instrument.open_midi(string) for string in strings)
    shapes = shapes_on(opens, instrument.highest_fret)
    table = _place_costs(shapes, opens, instrument.highest_fret, asked)
    notes = _note_costs(points, table, scale, asked)
    path = _cheapest(notes, _entry_costs(shapes, scale, asked), _change_costs(points, phrases, asked))
    begins = {first for first, _ in phrases}
    spans = []
    first = 0
    for stop in range(1, len(points) + 1):
        if stop == len(points) or stop in begins or path[stop] != path[first]:
            spans.append(_span(points, first, stop, shapes[path[first]], scale))
            first = stop
    return spans


def holds(shape: NeckShape, point: LinePoint) -> bool:
    """Tell whether a shape explains a note: it has its place, or the scale has its pitch just beside."""
    if point.string is None or point.fret is None or point.pitch_midi is None:
        return False
    if (point.string, point.fret) in shape.places:
        return True
    near = shape.lowest - _BESIDE_FRETS <= point.fret <= shape.highest + _BESIDE_FRETS
    return near and point.pitch_midi % 12 in shape.classes


def _note_costs(
    points: Sequence[LinePoint], table: FloatArray, scale: Scale, asked: ShapeParameters
) -> FloatArray:
    """Cost of every note in every shape, shape (notes, shapes)."""
    costs = np.zeros((len(points), len(table)))
    for index, point in enumerate(points):
        if point.string is None or point.fret is None or point.pitch_midi is None:
            continue
        row = table[:, point.string - 1, point.fret]
        after = points[index + 1].pitch_midi if index + 1 < len(points) else None
        outside = asked.outside
        if point.pitch_midi % 12 in scale.classes:
            outside = asked.outside_in_key
        elif after is not None and abs(after - point.pitch_midi) == 1:
            outside *= asked.approach_share
        costs[index] = np.where(row >= asked.outside, outside, row)
    return costs


@cache
def _place_costs(
    shapes: tuple[NeckShape, ...], opens: tuple[int, ...], highest_fret: int, asked: ShapeParameters
) -> FloatArray:
    """Cost of every place in every shape, shape (shapes, strings, frets)."""
    costs = np.full((len(shapes), len(opens), highest_fret + 1), asked.outside)
    frets = np.arange(highest_fret + 1)
    for number, shape in enumerate(shapes):
        own = asked.pentatonic if shape.kind == "pentatonic_box" else asked.scale
        near = (frets >= shape.lowest - _BESIDE_FRETS) & (frets <= shape.highest + _BESIDE_FRETS)
        in_scale = np.isin((frets[None, :] + np.array(opens)[:, None]) % 12, sorted(shape.classes))
        costs[number][in_scale & near[None, :]] = own + asked.beside
        for string, fret in shape.places:
            if fret <= highest_fret:
                costs[number, string - 1, fret] = own
    return costs


def own_pentatonic(scale: Scale) -> int:
    """Minor root of the pentatonic that belongs to a key."""
    return scale.tonic_class if scale.mode in _MINOR_LIKE else (scale.tonic_class + 9) % 12


def _entry_costs(shapes: Sequence[NeckShape], scale: Scale, asked: ShapeParameters) -> FloatArray:
    """What it costs to come to a shape, by what it has to do with the key."""
    costs = np.empty(len(shapes))
    for number, shape in enumerate(shapes):
        pentatonic = shape.kind == "pentatonic_box"
        if shape.root == (own_pentatonic(scale) if pentatonic else scale.parent_class):
            costs[number] = 0.0
        elif pentatonic and shape.root == scale.tonic_class:
            costs[number] = asked.parallel
        else:
            costs[number] = asked.in_key if shape.classes <= scale.classes else asked.foreign
    return costs


def _change_costs(
    points: Sequence[LinePoint], phrases: Sequence[tuple[int, int]], asked: ShapeParameters
) -> FloatArray:
    """What a change before each note costs."""
    costs = np.full(len(points), asked.change)
    for first in {first for first, stop in phrases if first < stop}:
        costs[first] -= asked.phrase_relief
    for index in range(1, len(points)):
        here, before = points[index].fret, points[index - 1].fret
        shifts = here and before and abs(here - before) > _SHIFT_FRETS
        if points[index].slid or shifts:
            costs[index] -= asked.shift_relief
    return np.asarray(np.maximum(costs, 0.0), dtype=np.float64)


def _cheapest(notes: FloatArray, entry: FloatArray, change: FloatArray) -> list[int]:
    """Cheapest path: the shape of every note."""
    count = len(notes)
    came_from = np.empty(notes.shape, dtype=np.int64)
    stay = np.arange(notes.shape[1])
    total: FloatArray = np.asarray(notes[0] + entry)
    for index in range(1, count):
        best = int(np.argmin(total))
        changed = total[best] + change[index] + entry
        moves = changed < total
        came_from[index] = np.where(moves, best, stay)
        total = np.where(moves, changed, total) + notes[index]
    path = [int(np.argmin(total))]
    for index in range(count - 1, 0, -1):
        path.append(int(came_from[index, path[-1]]))
    return path[::-1]


def _span(points: Sequence[LinePoint], first: int, stop: int, shape: NeckShape, scale: Scale) -> ShapeSpan:
    explained = tuple(index for index in range(first, stop) if holds(shape, points[index]))
    known = set(explained)
    unexplained = tuple(index for index in range(first, stop) if index not in known)
    if 2 * len(explained) < stop - first:
        return _position(points, first, stop)
    name, also = shape_names(shape, scale)
    return ShapeSpan(
        shape.kind, name, also, first, stop, shape.position, shape.places, explained, unexplained
    )


def _position(points: Sequence[LinePoint], first: int, stop: int) -> ShapeSpan:
    """A span that no scale explains: it lies where the hand lies."""
    places = tuple(
        sorted(
            {
                (point.string, point.fret)
                for point in points[first:stop]
                if point.string is not None and point.fret is not None
            }
        )
    )
    lowest = min((fret for _, fret in places if fret), default=0)
    name = f"position {lowest}" if lowest else "open position"
    return ShapeSpan("position", name, (), first, stop, lowest, places, (), tuple(range(first, stop)))


def shape_names(shape: NeckShape, scale: Scale) -> tuple[str, tuple[str, ...]]:
    """Name of a shape in a key, and the other names of the same notes.

    Returns
    -------
    str
        Such as ``"A minor pentatonic, box 1"`` or ``"C major scale, E shape"``.
    tuple of str
        Such as ``"C major pentatonic"``; of a major scale its relative minor, and the key's own mode.
    """
    if shape.kind == "pentatonic_box":
        minor = _named(shape.root, scale, "minor")
        return f"{minor.tonic} minor pentatonic, box {shape.label}", (f"{minor.relative} pentatonic",)
    major = _named(shape.root, scale, "major")
    also = [f"{major.relative} scale"]
    if scale.parent_class == shape.root and scale.mode not in ("major", "minor"):
        also.append(f"{scale.tonic} {scale.mode}")
    return f"{major.tonic} major scale, {shape.label} shape", tuple(also)


def _named(root: int, scale: Scale, mode: Any) -> Scale:
    """Scale on a root, spelled as the key spells it unless that takes more than seven signs."""
    assert mode in MODE_DEGREE
    named = Scale(scale.spell(root)[0], mode)
    return named if abs(named.signature) <= 7 else scale_on(root, mode)
