"""What the line is made of, in a text tab: a shape's name over its first note, and a list of the phrases."""

from __future__ import annotations

from collections.abc import Sequence

from transcriber.draft import Draft, Phrase, Shape
from transcriber.draft.sureness import key_words
from transcriber.export.plain_words import one_line
from transcriber.records.analysed import HardParts

MAIN_KINDS = ("pentatonic_box", "major_scale_shape", "position")
"""Kinds of shape that follow one another through the take; the others are figures within them."""

# What stands over the tab, where room is short.
_SHORT = ((" minor pentatonic, box", "m pent. box"), (" major scale,", " major"))


def main_shapes(draft: Draft) -> tuple[Shape, ...]:
    """Shapes that follow one another through the take."""
    return tuple(shape for shape in draft.shapes if shape.kind in MAIN_KINDS)


def shape_labels(draft: Draft) -> dict[str, str]:
    """Short name of each shape that differs from the one before, by the id of its first note."""
    onsets = {note.id: note.onset_s for note in draft.notes}
    labels: dict[str, str] = {}
    before = None
    for shape in main_shapes(draft):
        if shape.name == before:
            continue
        before = shape.name
        ids = [each for each in (*shape.notes, *shape.unexplained) if each in onsets]
        if ids:
            labels[min(ids, key=lambda each: onsets[each])] = short_name(shape)
    return labels


def short_name(shape: Shape) -> str:
    """Name of a shape for where room is short: ``Am pent. box 1``, ``C major G shape``."""
    name = one_line(shape.name)
    for long, short in _SHORT:
        name = name.replace(long, short)
    return name


def analysis_items(draft: Draft) -> list[str]:
    """Key, then one item for each phrase: bars, shapes, and what makes it hard."""
    items = []
    if draft.key is not None and draft.key.relative:
        words = f"{key_words(draft.key)}, relative {draft.key.relative}"
        if draft.key.outside:
            words += f"; outside it: {' '.join(draft.key.outside)}"
        items.append(words)
    items += [_phrase_words(draft, phrase) for phrase in draft.phrases if phrase.bars]
    return items


def _phrase_words(draft: Draft, phrase: Phrase) -> str:
    first, last = phrase.bars[0], phrase.bars[-1]
    bars = f"bar {first}" if first == last else f"bars {first} to {last}"
    parts = [f"{one_line(phrase.name)}, {bars}"]
    within = [shape for shape in draft.shapes if overlaps(shape, phrase)]
    # A shape is told once, with its other names; figures are told after it.
    for shapes in (main_shapes(draft), [each for each in within if each.kind not in MAIN_KINDS]):
        named = dict.fromkeys(_shape_words(shape) for shape in shapes if overlaps(shape, phrase))
        parts += list(named)
    hard = "" if phrase.hard is None else hard_words(phrase.hard)
    return "; ".join([*parts, hard] if hard else parts)


def overlaps(shape: Shape, phrase: Phrase) -> bool:
    """Whether a shape is played out of within a phrase."""
    return shape.start_s < phrase.end_s and phrase.start_s < shape.end_s


def _shape_words(shape: Shape) -> str:
    name = one_line(shape.name)
    return f"{name} ({', '.join(shape.also)})" if shape.also else name


def hard_words(hard: HardParts) -> str:
    """What makes a phrase hard, in words; a single note has no speed and changes no string."""
    moving = hard.notes_a_second > 0
    parts = [f"up to {hard.notes_a_second:.1f} notes a second"] if moving else []
    if hard.shift_frets:
        parts.append(f"shifts up to {_frets(hard.shift_frets)}")
    if hard.stretch_frets > 3:
        parts.append(f"stretch of {_frets(hard.stretch_frets)}")
    if hard.bends:
        parts.append("bends " + _bends([(each.semitones, each.times) for each in hard.bends]))
    if moving:
        parts.append(f"{hard.string_changes_a_beat:.1f} string changes a beat")
    return ", ".join(parts)


def _bends(counted: Sequence[tuple[float, int]]) -> str:
    return " and ".join(f"{times} x {semitones / 2:g} tone" for semitones, times in counted)


def _frets(count: int) -> str:
    return f"{count} fret{'s' if count > 1 else ''}"
