"""Written note values: how a line of exact durations is cut into notes, rests, ties, dots and tuplets.

Task: given where events begin and how long they are written (exact fractions, in beats of the meter's
denominator), give for every bar the values that a reader sees. Conventions (common practice of engraving):

- Nothing crosses a bar line. Inside the bar a tree of beats decides where a value must be cut so that the
  beat can be seen: a value may cover a whole branch, or start or end with it when it is a plain or dotted
  value (quarter - half - quarter and eighth - quarter - eighth stay whole); else it is cut and tied.
- Rests only ever cover whole branches.
- A tuplet fills one branch of the tree completely (a beat, half of one, or two beats), rests included.
- A pickup bar starts at its first note, or at the tuplet that this note stands in; every other bar is full.

Deviation: nothing shorter than a 64th is written; a position that needs one is refused.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from transcriber.errors import DraftError
from transcriber.export.beat_tree import Branch, branch_of, may_cross
from transcriber.export.written_bars import Bar, NoteValue, Piece, Tuplet
from transcriber.records.written import Meter

SHORTEST = 64
"""Denominator of the shortest value that is written."""

TUPLETS: tuple[tuple[int, int], ...] = ((3, 2), (5, 4), (7, 4))
"""Tuplets tried, in order: so many in the time of so many."""

TUPLET_COST = 2
"""Price of a tuplet bracket, in written symbols, where a branch can be spelled in more than one way."""


@dataclass(frozen=True)
class _Segment:
    start: Fraction
    end: Fraction
    event: int | None


@dataclass(frozen=True)
class _Spelled:
    """Pieces of a branch; their `tuplet` indexes count within `tuplets`."""

    pieces: tuple[Piece, ...]
    tuplets: tuple[Tuplet, ...]

    @property
    def cost(self) -> int:
        return len(self.pieces) + TUPLET_COST * len(self.tuplets)


def spell(events: Sequence[tuple[Fraction, Fraction]], meter: Meter) -> tuple[Bar, ...]:
    """Write a line of events out in bars.

    Parameters
    ----------
    events : sequence of (Fraction, Fraction)
        Start (denominator beats from beat 1 of bar 1; negative in a pickup bar) and length of each event,
        in order, each ending before the next begins. Lengths are positive.
    meter : Meter

    Returns
    -------
    tuple of Bar
        From the first event's bar (or bar 1, whichever is earlier) to the last event's; empty for no events.

    Raises
    ------
    DraftError
        If an event needs a value outside the vocabulary, or overlaps the next one.
    """
    if not events:
        return ()
    _check(events)
    first = min(int(events[0][0] // meter.beats), 0)
    end = events[-1][0] + events[-1][1]
    last = int(-(-end // meter.beats))
    bars = []
    for index in range(first, last):
        branch = branch_of(Fraction(index * meter.beats), Fraction(meter.beats), meter)
        spelled = _spell_bar(branch, _segments(events, branch), meter)
        if spelled is None:
            raise DraftError(
                f"the rhythm of bar {index + 1} needs a value shorter than 1/{SHORTEST}: correct it first"
            )
        pickup = index == first and index < 0
        bars.append(_bar(index + 1, branch, spelled, pickup))
    return tuple(_tie(bars))


def value_for(length: Fraction, meter: Meter, actual: int = 1, normal: int = 1) -> NoteValue | None:
    """Give the plain or dotted value that lasts exactly `length` denominator beats, or None."""
    nominal = length / meter.unit * actual / normal
    for dots, factor in ((0, Fraction(1)), (1, Fraction(3, 2))):
        base = factor / nominal
        if base.denominator == 1 and base <= SHORTEST and _power_of_two(base.numerator):
            return NoteValue(int(base), dots, actual, normal)
    return None


def _check(events: Sequence[tuple[Fraction, Fraction]]) -> None:
    for number, (start, length) in enumerate(events):
        if length <= 0:
            raise DraftError(f"event {number + 1} has length {length}: a written length is more than 0")
        if number + 1 < len(events) and events[number + 1][0] < start + length:
            raise DraftError(
                f"event {number + 1} ends at beat {start + length}, after the next one begins "
                f"({events[number + 1][0]}): cut it there"
            )


def _power_of_two(number: int) -> bool:
    return number > 0 and number & (number - 1) == 0


def _segments(events: Sequence[tuple[Fraction, Fraction]], branch: Branch) -> tuple[_Segment, ...]:
    """Cut events and the gaps between them to a bar."""
    found: list[_Segment] = []
    here = branch.start
    # Events stand in order and do not overlap, so those of a bar are neighbours.
    begin = bisect_right(events, branch.start, key=lambda event: event[0] + event[1])
    stop = bisect_left(events, branch.end, lo=begin, key=lambda event: event[0])
    for index in range(begin, stop):
        start, length = events[index]
        head, tail = max(start, branch.start), min(start + length, branch.end)
        if head >= tail:
            continue
        if head > here:
            found.append(_Segment(here, head, None))
        found.append(_Segment(head, tail, index))
        here = tail
    if here < branch.end:
        found.append(_Segment(here, branch.end, None))
    return tuple(found)


def _clip(segments: Sequence[_Segment], branch: Branch) -> tuple[_Segment, ...]:
    return tuple(
        _Segment(max(segment.start, branch.start), min(segment.end, branch.end), segment.event)
        for segment in segments
        if segment.start < branch.end and segment.end > branch.start
    )


def _spell_bar(branch: Branch, segments: tuple[_Segment, ...], meter: Meter) -> _Spelled | None:
    """Spell a whole bar, by what was spelled before where its rhythm has been met already."""
    first = next((segment.event for segment in segments if segment.event is not None), 0)
    moved = tuple(
        _Segment(
            segment.start - branch.start,
            segment.end - branch.start,
            None if segment.event is None else segment.event - first,
        )
        for segment in segments
    )
    spelled = _spell_rhythm(moved, meter)
    if spelled is None:
        return None
    pieces = tuple(
        replace(
            piece,
            start=piece.start + branch.start,
            event=None if piece.event is None else piece.event + first,
        )
        for piece in spelled.pieces
    )
    tuplets = tuple(replace(tuplet, start=tuplet.start + branch.start) for tuplet in spelled.tuplets)
    return _Spelled(pieces, tuplets)


@lru_cache(maxsize=4096)
def _spell_rhythm(segments: tuple[_Segment, ...], meter: Meter) -> _Spelled | None:
    return _spell_branch(branch_of(Fraction(0), Fraction(meter.beats), meter), segments, meter)


def _spell_branch(branch: Branch, segments: tuple[_Segment, ...], meter: Meter) -> _Spelled | None:
    """Spell a branch the cheapest way there is; None when the vocabulary has none."""
    pieces = _as_they_stand(branch, segments, meter)
    if pieces is not None:
        return _Spelled(pieces, ())
    choices = [_as_tuplet(branch, segments, meter, ratio) for ratio in TUPLETS]
    if min(branch.parts) / meter.unit >= Fraction(1, SHORTEST):
        choices.append(_divided(branch, segments, meter))
    possible = [choice for choice in choices if choice is not None]
    return min(possible, key=lambda choice: choice.cost) if possible else None


def _divided(branch: Branch, segments: tuple[_Segment, ...], meter: Meter) -> _Spelled | None:
    """Spell each child, leaving whole what may cross between children."""
    pieces: list[Piece] = []
    tuplets: list[Tuplet] = []
    for child in branch.children(meter):
        spelled = _spell_branch(child, _clip(segments, child), meter)
        if spelled is None:
            return None
        pieces += [
            replace(piece, tuplet=None if piece.tuplet is None else piece.tuplet + len(tuplets))
            for piece in spelled.pieces
        ]
        tuplets += spelled.tuplets
    if len(segments) == 1 and len(branch.parts) == 3 and segments[0].event is not None:
        segments = (replace(segments[0], end=branch.start + branch.parts[0] + branch.parts[1]),)
    for segment in segments:
        if segment.event is not None and may_cross(branch, segment.start, segment.end, meter):
            pieces = _fuse(pieces, segment, meter)
    return _Spelled(tuple(pieces), tuple(tuplets))


def _fuse(pieces: list[Piece], whole: _Segment, meter: Meter) -> list[Piece]:
    """Put one piece in place of those that lie in a segment which may stay whole."""
    inside = [piece for piece in pieces if whole.start <= piece.start < whole.end]
    value = value_for(whole.end - whole.start, meter)
    if value is None or any(piece.tuplet is not None for piece in inside):
        return pieces
    one = Piece(whole.start, whole.end - whole.start, value, whole.event)
    at = pieces.index(inside[0])
    return [*pieces[:at], one, *pieces[at + len(inside) :]]


def _as_they_stand(branch: Branch, segments: tuple[_Segment, ...], meter: Meter) -> tuple[Piece, ...] | None:
    """One segment that fills the branch with one value."""
    if len(segments) != 1:
        return None
    value = value_for(branch.length, meter)
    if value is None:
        return None
    return (Piece(branch.start, branch.length, value, segments[0].event),)


def _as_tuplet(
    branch: Branch, segments: tuple[_Segment, ...], meter: Meter, ratio: tuple[int, int]
) -> _Spelled | None:
    """Fill the branch with one tuplet, if it may hold one and the segments fit it."""
    actual, normal = ratio
    if len(branch.parts) != 2 or branch.length > (1 if meter.compound else 2):
        return None
    offsets = [(segment.end - branch.start) / branch.length for segment in segments[:-1]]
    if not _fits_tuplet(offsets, actual, plain=branch.length > 1) or _better_halved(offsets, actual):
        return None
    part = branch.length / actual
    pieces: list[Piece] = []
    for segment in segments:
        for start, end in _tuplet_cuts(segment.start, segment.end, branch.start, part):
            value = value_for(end - start, meter, actual, normal)
            if value is None:
                return None
            pieces.append(Piece(start, end - start, value, segment.event, tuplet=0))
    return _Spelled(tuple(pieces), (Tuplet(branch.start, branch.length, actual, normal),))


def _fits_tuplet(offsets: Sequence[Fraction], actual: int, plain: bool) -> bool:
    """Whether joints (as shares of the branch) need this tuplet and lie on it; `plain`: undivided only."""
    if all(_power_of_two(offset.denominator) for offset in offsets):
        return False
    finest = 1 if plain else SHORTEST
    scaled = [(offset * actual).denominator for offset in offsets]
    return all(_power_of_two(one) and one <= finest for one in scaled)


def _better_halved(offsets: Sequence[Fraction], actual: int) -> bool:
    """Whether one half of the branch is a complete tuplet by itself: two brackets then read better."""
    halves = [Fraction(step, 2 * actual) for step in range(2 * actual)]
    return any(set(half) <= set(offsets) for half in (halves[1 : actual + 1], halves[actual:]))


def _tuplet_cuts(
    start: Fraction, end: Fraction, origin: Fraction, part: Fraction
) -> list[tuple[Fraction, Fraction]]:
    """Cut a span inside a tuplet at the tuplet's own beats, unless it covers a plain or dotted value."""
    head, tail = (start - origin) / part, (end - origin) / part
    if head.denominator == 1 and tail - head in (1, Fraction(3, 2), 2, 3, 4):
        return [(start, end)]
    joint = head // 1 + 1
    if tail <= joint:
        return _halved(start, end, origin, part)
    cut = origin + part * joint
    return _tuplet_cuts(start, cut, origin, part) + _tuplet_cuts(cut, end, origin, part)


def _halved(
    start: Fraction, end: Fraction, origin: Fraction, part: Fraction
) -> list[tuple[Fraction, Fraction]]:
    """Cut a span inside one tuplet beat into plain or dotted values."""
    length = (end - start) / part
    if length.numerator in (1, 3) and _power_of_two(length.denominator):
        return [(start, end)]
    middle = origin + ((start - origin) // part) * part + part / 2
    if start < middle < end:
        return _halved(start, middle, origin, part) + _halved(middle, end, origin, part)
    step = part / length.denominator
    return [(start, start + step), *_halved(start + step, end, origin, part)]


def _bar(number: int, branch: Branch, spelled: _Spelled, pickup: bool) -> Bar:
    pieces = spelled.pieces
    while pickup and pieces[0].event is None and pieces[0].tuplet is None:
        pieces = pieces[1:]
    start = pieces[0].start
    return Bar(number, start, branch.end - start, pieces, spelled.tuplets)


def _tie(bars: list[Bar]) -> list[Bar]:
    """Join the pieces of one event by ties, over bar lines too."""
    line = [piece.event for bar in bars for piece in bar.pieces]
    place = 0
    tied = []
    for bar in bars:
        pieces = []
        for piece in bar.pieces:
            sounding = piece.event is not None
            before = sounding and place > 0 and line[place - 1] == piece.event
            after = sounding and place + 1 < len(line) and line[place + 1] == piece.event
            pieces.append(replace(piece, tied_in=before, tied_out=after))
            place += 1
        tied.append(replace(bar, pieces=tuple(pieces)))
    return tied
