"""A draft as layers: lines that never overlap, so that notes ringing on and double stops keep their lengths.

`score.score_of` writes all voices as one line, as text tab has to; a notation program can hold several. Notes
that begin and end together in one voice are one event. Each event goes into the first layer of its voice that
is free, so that voice 1 of an ordinary line is layer 1 whole.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction

from transcriber.draft import Draft, DraftNote
from transcriber.export.score import Event
from transcriber.export.spelling import spell
from transcriber.export.written_bars import Bar


@dataclass(frozen=True)
class Layer:
    """One line of events, the bars that write them out, and its voice in the draft.

    `bars` run from the first bar of the line (or bar 1, whichever is earlier) to its last.
    """

    voice: int
    events: tuple[Event, ...]
    bars: tuple[Bar, ...]


@dataclass(frozen=True)
class LayeredScore:
    """All layers of a draft, at least one.

    Attributes
    ----------
    layers : tuple of Layer
        Voice 1 first.
    start : Fraction
        Where the first bar begins, in denominator beats from beat 1 of bar 1: negative in a pickup.
    first_bar, last_bar : int
        Numbers of the first and last bar; 0 is a pickup.
    trailing : tuple of DraftNote
        Graces with no note after them to decorate.
    """

    layers: tuple[Layer, ...]
    start: Fraction
    first_bar: int
    last_bar: int
    trailing: tuple[DraftNote, ...]


def layered(draft: Draft) -> LayeredScore:
    """Part a draft into layers and write each out.

    Raises
    ------
    DraftError
        If a position or length of the draft cannot be written.
    """
    meter = draft.meter
    lines = _lines(draft)
    lines, trailing = _with_graces(draft, lines)
    layers = tuple(
        Layer(voice, events, spell([(event.start, event.length) for event in events], meter))
        for voice, events in lines
    )
    if not layers:
        layers = (Layer(1, (), ()),)
    bars = [bar for layer in layers for bar in layer.bars]
    first = min((bar.number for bar in bars), default=1)
    start = min((bar.start for bar in bars if bar.number == first), default=Fraction(0))
    return LayeredScore(layers, start, first, max((bar.number for bar in bars), default=1), trailing)


def _lines(draft: Draft) -> list[tuple[int, tuple[Event, ...]]]:
    """Events by voice, in lines that do not overlap."""
    together: dict[tuple[int, Fraction, Fraction], list[DraftNote]] = {}
    for note in draft.notes:
        if not note.is_grace:
            together.setdefault((note.voice, note.start(draft.meter), note.length), []).append(note)
    lines: list[tuple[int, list[Event]]] = []
    for voice, start, length in sorted(together):
        notes = sorted(together[voice, start, length], key=lambda note: (note.string or 0, note.onset_s))
        event = Event(start, length, tuple(notes), ())
        free = next(
            (line for of, line in lines if of == voice and line[-1].start + line[-1].length <= start), None
        )
        if free is None:
            lines.append((voice, [event]))
        else:
            free.append(event)
    return [(voice, tuple(events)) for voice, events in lines]


def _with_graces(
    draft: Draft, lines: list[tuple[int, tuple[Event, ...]]]
) -> tuple[list[tuple[int, tuple[Event, ...]]], tuple[DraftNote, ...]]:
    """Hang each grace on the event that it decorates: on its own string if there is a choice."""
    hung: dict[tuple[int, int], list[DraftNote]] = {}
    trailing = []
    for grace in (note for note in draft.notes if note.is_grace):
        start = grace.start(draft.meter)
        hosts = [
            (event.start, voice != grace.voice, grace.string not in _strings(event), line, place)
            for line, (voice, events) in enumerate(lines)
            for place, event in enumerate(events)
            if event.start >= start
        ]
        if hosts:
            *_, line, place = min(hosts)
            hung.setdefault((line, place), []).append(grace)
        else:
            trailing.append(grace)
    decorated = []
    for line, (voice, events) in enumerate(lines):
        graced = [replace(event, graces=tuple(hung.get((line, at), ()))) for at, event in enumerate(events)]
        decorated.append((voice, tuple(graced)))
    return decorated, tuple(trailing)


def _strings(event: Event) -> set[int | None]:
    return {note.string for note in event.notes}


def links(draft: Draft) -> dict[str, str]:
    """For each note, the note from which a slur or slide reaches it: the one before it on its string.

    Ids of notes; a note that begins its string is left out. A note without a place comes from the note before
    it in its voice.
    """
    found: dict[str, str] = {}
    on_string: dict[int, str] = {}
    in_voice: dict[int, str] = {}
    for note in draft.notes:
        before = in_voice.get(note.voice) if note.string is None else on_string.get(note.string)
        if before is not None:
            found[note.id] = before
        if note.string is not None:
            on_string[note.string] = note.id
        in_voice[note.voice] = note.id
    return found
