"""Notes, places in the bar and values in words, for the page and its questions."""

from __future__ import annotations

from fractions import Fraction

from transcriber.draft import DraftNote
from transcriber.records.pitch import open_string_names
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

NOTE_NAMES = ("C", "C♯", "D", "E♭", "E", "F", "F♯", "G", "A♭", "A", "B♭", "B")
_PARTS = {
    Fraction(1, 2): "½", Fraction(1, 4): "¼", Fraction(3, 4): "¾", Fraction(1, 3): "⅓",
    Fraction(2, 3): "⅔", Fraction(1, 6): "⅙", Fraction(5, 6): "⅚", Fraction(1, 8): "⅛",
    Fraction(3, 8): "⅜", Fraction(5, 8): "⅝", Fraction(7, 8): "⅞",
}  # fmt: skip
_VALUES = {1: "whole note", 2: "half", 4: "quarter", 8: "eighth", 16: "sixteenth", 32: "thirty-second"}
KIND_WORDS = {
    "bend": "bend", "pre_bend": "pre-bend", "release": "release", "vibrato": "vibrato", "slide": "slide",
    "slide_in": "slide in", "slide_out": "slide out", "hammer_on": "hammer-on", "pull_off": "pull-off",
    "grace": "grace", "trill": "trill", "palm_mute": "palm mute", "dead_note": "dead note",
    "natural_harmonic": "natural harmonic", "staccato": "staccato", "let_ring": "let ring",
}  # fmt: skip


def pitch_words(pitch_midi: int | None) -> str:
    """Name a pitch, such as ``"F♯3"``; middle C is C4."""
    if pitch_midi is None:
        return "no pitch"
    return f"{NOTE_NAMES[pitch_midi % 12]}{pitch_midi // 12 - 1}"


def string_words(open_midi: tuple[int, ...]) -> list[str]:
    """Name open strings in the order given, such as ``"E♭"``."""
    return [name.replace("#", "♯").replace("b", "♭") for name in open_string_names(open_midi)]


def number_words(value: Fraction) -> str:
    """Write a count of beats, such as ``"2½"``."""
    whole, part = divmod(value, 1)
    if not part:
        return str(whole)
    shown = _PARTS.get(part, f" {part.numerator}/{part.denominator}")
    return (str(whole) if whole else "") + shown if whole or part in _PARTS else shown.strip()


def beat_words(bar: int, beat: Fraction) -> str:
    """Say where in the take, such as ``"bar 7, beat 2½"``; a pickup bar is called so."""
    return f"{'pickup' if bar == 0 else f'bar {bar}'}, beat {number_words(beat)}"


def place_words(string: int | None, fret: int | None) -> str:
    """Say where on the neck, such as ``"string 2, fret 8"``."""
    if string is None or fret is None:
        return "off the neck"
    return f"string {string}, {'open' if fret == 0 else f'fret {fret}'}"


def length_words(length: Fraction, meter: Meter) -> str:
    """Name a written length, such as ``"dotted eighth"``; in beats where no one value has it."""
    if length == 0:
        return "grace"
    whole = length / meter.unit
    for dot, factor in (("", Fraction(1)), ("dotted ", Fraction(3, 2)), ("triplet ", Fraction(2, 3))):
        base = factor / whole
        if base.denominator == 1 and int(base) in _VALUES:
            return dot + _VALUES[int(base)]
    return f"{number_words(length)} {'beat' if length <= 1 else 'beats'} long"


def tones_words(semitones: float) -> str:
    """Name how far a bend goes, as players count: in whole tones (two frets are *full*)."""
    quarters = round(semitones * 2)
    if quarters == 4:
        return "full"
    return number_words(Fraction(quarters, 4)) or "0"


def technique_words(technique: Technique) -> str:
    """Name a technique with its amount, such as ``"bend ½"``."""
    words = KIND_WORDS[technique.kind]
    if technique.kind in ("bend", "pre_bend"):
        words += f" {tones_words(technique.semitones or 0.0)}"
    if technique.kind == "release" and technique.semitones:
        words += f" to {tones_words(technique.semitones)}"
    if technique.kind == "slide" and technique.picked:
        words += ", picked again"
    if technique.kind in ("slide_in", "slide_out") and technique.direction:
        words += f" {technique.direction}"
    if technique.kind == "trill" and technique.to_fret is not None:
        words += f" with fret {technique.to_fret}"
    return words


def techniques_words(note: DraftNote) -> str:
    """Name all that is done to a note; ``"picked"`` where nothing is."""
    return ", ".join(technique_words(one) for one in note.techniques) or "picked"
