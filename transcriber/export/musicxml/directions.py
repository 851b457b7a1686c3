"""What stands over and under the notes: tempo, swing, phrases, remarks, chord names, palm mutes."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from xml.etree.ElementTree import Element, SubElement

from transcriber.draft import Draft, Phrase
from transcriber.export.chord_symbols import NONE, parse_chord
from transcriber.export.musicxml.techniques import PALM_MUTE_WORDS
from transcriber.export.plain_words import one_line

BEAT_UNITS = {1: "whole", 2: "half", 4: "quarter", 8: "eighth", 16: "16th", 32: "32nd"}
LARGEST_SWING_PART = 12
"""A swing ratio is told as two whole numbers, none above this times the other's."""


@dataclass(frozen=True)
class Placed:
    """A direction or chord name and its position, in denominator beats from beat 1 of bar 1."""

    start: Fraction
    element: Element


def placed_directions(draft: Draft, begin: Fraction) -> list[Placed]:
    """All directions of a draft in order of position; `begin` is where the first bar begins."""
    found = [Placed(begin, _tempo(draft))]
    if draft.timing.swing is not None:
        found.append(Placed(begin, _swing(draft.timing.swing)))
    if draft.instrument.capo:
        found.append(Placed(begin, _words(f"Capo {draft.instrument.capo}", "above")))
    for phrase in sorted(draft.phrases, key=lambda phrase: phrase.start_s):
        found += _phrase(draft, phrase)
    for chord in draft.chords:
        found.append(Placed(max(chord.start(draft.meter), begin), _harmony(chord.name)))
    muted = False
    for note in draft.notes:
        start = note.start(draft.meter)
        if note.remark and one_line(note.remark):
            found.append(Placed(start, _words(one_line(note.remark), "below", "italic")))
        if note.has("palm_mute") and not muted:
            found.append(Placed(start, _words(PALM_MUTE_WORDS, "above")))
        muted = note.has("palm_mute")
    return sorted(found, key=lambda one: one.start)


def _direction(placement: str) -> tuple[Element, Element]:
    direction = Element("direction", placement=placement)
    return direction, SubElement(direction, "direction-type")


def _words(text: str, placement: str, style: str | None = None) -> Element:
    direction, kind = _direction(placement)
    SubElement(kind, "words", {"font-style": style} if style else {}).text = text
    return direction


def _tempo(draft: Draft) -> Element:
    """Tempo in beats that people tap, and for playback in quarter notes."""
    timing = draft.timing
    direction, kind = _direction("above")
    metronome = SubElement(kind, "metronome")
    unit = timing.meter.unit // 2 if timing.meter.compound else timing.meter.unit
    SubElement(metronome, "beat-unit").text = BEAT_UNITS[unit]
    if timing.meter.compound:
        SubElement(metronome, "beat-unit-dot")
    SubElement(metronome, "per-minute").text = str(round(timing.tempo_bpm))
    quarters = timing.tempo_bpm * timing.meter.tap * 4 / timing.meter.unit
    SubElement(direction, "sound", tempo=f"{round(quarters, 3):g}")
    return direction


def _swing(ratio: float) -> Element:
    """Swing as a playback ratio of eighths, and as a word."""
    direction = _words("Swing", "above")
    swing = SubElement(SubElement(direction, "sound"), "swing")
    parts = Fraction(ratio).limit_denominator(LARGEST_SWING_PART)
    SubElement(swing, "first").text = str(max(parts.numerator, 1))
    SubElement(swing, "second").text = str(parts.denominator)
    SubElement(swing, "swing-type").text = "eighth"
    return direction


def _phrase(draft: Draft, phrase: Phrase) -> list[Placed]:
    """Name and remark of a phrase at its first note."""
    notes = draft.phrase_notes(phrase)
    if not notes:
        return []
    start = notes[0].start(draft.meter)
    found = []
    if one_line(phrase.name):
        direction, kind = _direction("above")
        SubElement(kind, "rehearsal").text = one_line(phrase.name)
        found.append(Placed(start, direction))
    if phrase.remark and one_line(phrase.remark):
        found.append(Placed(start, _words(one_line(phrase.remark), "below", "italic")))
    return found


def _harmony(name: str) -> Element:
    symbol = parse_chord(name)
    if symbol.root is None and symbol.kind != NONE:
        return _words(one_line(name), "above")
    made = Element("harmony")
    # The schema needs a root even where there is no chord: one that is not shown.
    made.append(_named("root", symbol.root or "C"))
    if symbol.root is None:
        made[0][0].set("text", "")
    SubElement(made, "kind", text=one_line(symbol.words)).text = symbol.kind
    if symbol.bass is not None:
        made.append(_named("bass", symbol.bass))
    return made


def _named(part: str, name: str) -> Element:
    made = Element(part)
    SubElement(made, f"{part}-step").text = name[0]
    if name[1:]:
        SubElement(made, f"{part}-alter").text = "1" if name[1] == "#" else "-1"
    return made
