"""What a guitarist's hands do, each as a short line in which it happens again and again among plain notes.

A phenomenon is a maker of fragments: a few notes in beats from 0, all on one hand position. `phenomenon_line`
repeats it on changing strings and frets with plain notes between, so that hearing it everywhere costs as
much as missing it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction

import numpy as np

from tests.accuracy.necks import GUITAR
from transcriber.records.line import Line, LineNote
from transcriber.records.technique import Technique
from transcriber.records.written import Meter
from transcriber.synthesis import PlayingStyle

Fragment = list[LineNote]
Maker = Callable[[int, int, np.random.Generator], Fragment]
Q, E, S = Fraction(1), Fraction(1, 2), Fraction(1, 4)
TEMPO = (70, 110)
REPEATS = 6


@dataclass(frozen=True)
class Phenomenon:
    """A maker, and how it is played and what is done to the sound.

    Attributes
    ----------
    make : Maker
        Of string, fret and random numbers.
    strings, frets : tuple of int
        Between which it is tried, both ends included.
    style : dict
        Settings of `PlayingStyle` that differ.
    effects : tuple of str
        What is done to the sound: see `tests.listening.phenomena_sounds`.
    tempo : tuple of int
    kind : str or None
        The technique measured; None where only notes are.
    above : tuple of int
        Intervals in semitones at which second notes sound with the fragment's, in turn.
    """

    make: Maker
    strings: tuple[int, int] = (1, 4)
    frets: tuple[int, int] = (5, 12)
    style: tuple[tuple[str, object], ...] = ()
    effects: tuple[str, ...] = ()
    tempo: tuple[int, int] = TEMPO
    kind: str | None = None
    above: tuple[int, ...] = ()


def note(start: Fraction, length: Fraction, string: int, fret: int, *techniques: Technique) -> LineNote:
    """One note of a fragment."""
    return LineNote(start, length, string, fret, 90, techniques)


def bend(semitones: float) -> Technique:
    """A bend."""
    return Technique("bend", semitones=semitones)


RELEASE = Technique("release", semitones=0.0)
HAMMER, PULL = Technique("hammer_on"), Technique("pull_off")


def vibrato(low_hz: float, high_hz: float, low: float, high: float, rng: np.random.Generator) -> Technique:
    """Vibrato of a rate and depth drawn between bounds."""
    return Technique(
        "vibrato",
        rate_hz=round(float(rng.uniform(low_hz, high_hz)), 2),
        depth_semitones=round(float(rng.uniform(low, high)), 2),
    )


def _single(length: Fraction, *techniques: Technique) -> Maker:
    def make(string: int, fret: int, rng: np.random.Generator) -> Fragment:
        return [note(Fraction(0), length, string, fret, *techniques)]

    return make


def _vibrato(low_hz: float, high_hz: float, low: float, high: float, *before: Technique) -> Maker:
    def make(string: int, fret: int, rng: np.random.Generator) -> Fragment:
        return [note(Fraction(0), 2 * Q, string, fret, *before, vibrato(low_hz, high_hz, low, high, rng))]

    return make


def _repicked_bend(string: int, fret: int, rng: np.random.Generator) -> Fragment:
    held = Technique("pre_bend", semitones=2.0)
    return [note(Fraction(0), Q, string, fret, bend(2.0)), note(Q, Q, string, fret, held)]


def _slide(picked: bool) -> Maker:
    def make(string: int, fret: int, rng: np.random.Generator) -> Fragment:
        step = int(rng.choice([-4, -3, -2, 2, 3, 4, 5]))
        arrived = Technique("slide", picked=picked)
        return [note(Fraction(0), Q, string, fret), note(Q, Q, string, max(fret + step, 1), arrived)]

    return make


def _slide_at(kind: str, direction: str) -> Maker:
    def make(string: int, fret: int, rng: np.random.Generator) -> Fragment:
        # type: ignore[arg-type]
        return [note(Fraction(0), Q, string, fret, Technique(kind, direction=direction))]

    return make


def _slur(*steps: int) -> Maker:
    def make(string: int, fret: int, rng: np.random.Generator) -> Fragment:
        notes, at = [note(Fraction(0), E, string, fret)], fret
        for index, step in enumerate(steps, 1):
            at += step
            notes.append(note(index * E, E, string, at, HAMMER if step > 0 else PULL))
        return notes

    return make


def _wide_slur(string: int, fret: int, rng: np.random.Generator) -> Fragment:
    step = int(rng.choice([1, 2, 3, 4]))
    up = [note(Fraction(0), E, string, fret), note(E, E, string, fret + step, HAMMER)]
    down = [note(Fraction(0), E, string, fret + step), note(E, E, string, fret, PULL)]
    return up if rng.random() < 0.5 else down


def _from_open(string: int, fret: int, rng: np.random.Generator) -> Fragment:
    to = int(rng.integers(1, 5))
    return [
        note(Fraction(0), E, string, 0),
        note(E, E, string, to, HAMMER),
        note(2 * E, E, string, 0, PULL),
    ]


def _trill(string: int, fret: int, rng: np.random.Generator) -> Fragment:
    to = fret + int(rng.choice([1, 2, 3]))
    return [note(Fraction(0), 2 * Q, string, fret, Technique("trill", to_fret=to))]


def _grace(string: int, fret: int, rng: np.random.Generator) -> Fragment:
    step = int(rng.choice([-2, -1, 1, 2]))
    arrive = HAMMER if step > 0 else PULL
    return [
        note(Fraction(0), Fraction(0), string, fret, Technique("grace")),
        note(Fraction(0), Q, string, fret + step, arrive),
    ]


def _natural_harmonic(string: int, fret: int, rng: np.random.Generator) -> Fragment:
    node = int(rng.choice([5, 7, 12]))
    return [note(Fraction(0), Q, string, node, Technique("natural_harmonic"))]


def _sextuplets(string: int, fret: int, rng: np.random.Generator) -> Fragment:
    # Four notes down a pentatonic box and back, as fast as is played.
    shape = [(string, fret + 3), (string, fret), (string + 1, fret + 2), (string + 1, fret)]
    turn = [0, 1, 2, 3, 2, 1, 0, 1, 2, 3, 2, 1]
    return [note(Fraction(k, 6), Fraction(1, 6), *shape[step]) for k, step in enumerate(turn)]


def _growing(string: int, fret: int, rng: np.random.Generator) -> Fragment:
    return [LineNote(k * S, S, string, fret, 45 + 9 * k) for k in range(8)]


def _soft_after_loud(string: int, fret: int, rng: np.random.Generator) -> Fragment:
    return [LineNote(k * E, E, string, fret + 2 * (k % 2), 115 if k % 2 == 0 else 30) for k in range(4)]


_SLOW, _QUICK = (("bend_s", (0.35, 0.5)),), (("bend_s", (0.06, 0.1)),)
_MISSED = (("bend_error_cents", 30.0),)

PHENOMENA: dict[str, Phenomenon] = {
    "plain": Phenomenon(_single(Q), (1, 6), (0, 15)),
    "driven": Phenomenon(_single(E), (1, 6), (0, 15), effects=("drive",)),
    "hum and noise": Phenomenon(_single(E), (1, 6), (0, 15), effects=("hum", "noise")),
    "squeaks": Phenomenon(_single(Q), (3, 6), (1, 12), effects=("squeaks",)),
    "ringing string": Phenomenon(_single(E), (1, 3), (3, 12), effects=("ringing",)),
    "off pitch": Phenomenon(_single(E), (1, 6), (0, 15), effects=("detune",)),
    "sextuplets": Phenomenon(_sextuplets, (1, 4), (3, 12), tempo=(125, 130)),
    "growing": Phenomenon(_growing, (1, 5), (2, 12)),
    "swelled": Phenomenon(_single(Q), (1, 4), (2, 12), effects=("swell",)),
    "soft after loud": Phenomenon(_soft_after_loud, (1, 5), (2, 12)),
    "lowest": Phenomenon(_single(E), (5, 6), (0, 5)),
    "highest": Phenomenon(_single(E), (1, 2), (16, 22)),
    "bend 1/4": Phenomenon(_single(Q, bend(0.5)), (1, 3), kind="bend"),
    "bend 1/2": Phenomenon(_single(Q, bend(1.0)), (1, 3), kind="bend"),
    "bend 1": Phenomenon(_single(Q, bend(2.0)), (1, 3), kind="bend"),
    "bend 1 1/2": Phenomenon(_single(Q, bend(3.0)), (1, 3), kind="bend"),
    "bend 2": Phenomenon(_single(Q, bend(4.0)), (1, 3), (7, 12), kind="bend"),
    "slow bend": Phenomenon(_single(2 * Q, bend(2.0)), (1, 3), style=_SLOW, kind="bend"),
    "quick bend": Phenomenon(_single(Q, bend(2.0)), (1, 3), style=_QUICK, kind="bend"),
    "bend that misses": Phenomenon(_single(Q, bend(2.0)), (1, 3), style=_MISSED, kind="bend"),
    "bend and release": Phenomenon(_single(2 * Q, bend(2.0), RELEASE), (1, 3), kind="release"),
    "pre-bend": Phenomenon(
        _single(Q, Technique("pre_bend", semitones=2.0), RELEASE), (1, 3), kind="pre_bend"
    ),
    "bend released and bent again": Phenomenon(
        _single(2 * Q, bend(2.0), RELEASE, bend(2.0)), (1, 3), kind="bend"
    ),
    "held bend picked again": Phenomenon(_repicked_bend, (1, 3), kind="pre_bend"),
    "vibrato": Phenomenon(_vibrato(4.5, 6.0, 0.35, 0.7), kind="vibrato"),
    "narrow slow vibrato": Phenomenon(_vibrato(3.5, 4.5, 0.3, 0.4), kind="vibrato"),
    "wide vibrato": Phenomenon(_vibrato(4.5, 6.5, 0.9, 1.5), kind="vibrato"),
    "quick vibrato": Phenomenon(_vibrato(6.5, 7.5, 0.4, 0.8), kind="vibrato"),
    "vibrato on a bend": Phenomenon(_vibrato(4.5, 6.0, 0.4, 0.8, bend(2.0)), (1, 3), kind="vibrato"),
    "slide": Phenomenon(_slide(False), kind="slide"),
    "slide picked again": Phenomenon(_slide(True), kind="slide"),
    "slide in from below": Phenomenon(_slide_at("slide_in", "up"), kind="slide_in"),
    "slide in from above": Phenomenon(_slide_at("slide_in", "down"), kind="slide_in"),
    "slide out downward": Phenomenon(_slide_at("slide_out", "down"), kind="slide_out"),
    "slide out upward": Phenomenon(_slide_at("slide_out", "up"), kind="slide_out"),
    "hammer or pull": Phenomenon(_wide_slur, (1, 5), kind="slur"),
    "slurs from an open string": Phenomenon(_from_open, (1, 5), kind="slur"),
    "two slurs on one pick": Phenomenon(_slur(2, -2), (1, 5), kind="slur"),
    "trill": Phenomenon(_trill, kind="trill"),
    "grace": Phenomenon(_grace, kind="grace", style=(("grace_s", 0.055),)),
    "palm mute": Phenomenon(_single(E, Technique("palm_mute")), (4, 6), (0, 9), kind="palm_mute"),
    "dead note": Phenomenon(_single(E, Technique("dead_note")), (2, 6), (2, 9), kind="dead_note"),
    "natural harmonic": Phenomenon(_natural_harmonic, (2, 6), kind="natural_harmonic"),
    "double stop": Phenomenon(_single(Q), (3, 5), (2, 9), above=(3, 4, 5, 7, 8, 9)),
    "staccato": Phenomenon(_single(Q, Technique("staccato")), (1, 6)),
}


def phenomenon_line(name: str, seed: int) -> tuple[Line, PlayingStyle]:
    """Write a line in which a phenomenon happens `REPEATS` times, with two plain notes after each.

    Parameters
    ----------
    name : str
        Key of `PHENOMENA`.
    seed : int
    """
    phenomenon = PHENOMENA[name]
    rng = np.random.default_rng([seed, list(PHENOMENA).index(name)])
    tempo = int(rng.integers(phenomenon.tempo[0], phenomenon.tempo[1] + 1))
    notes: list[LineNote] = []
    at = Fraction(0)
    for _ in range(REPEATS):
        string = int(rng.integers(phenomenon.strings[0], phenomenon.strings[1] + 1))
        fret = int(rng.integers(phenomenon.frets[0], phenomenon.frets[1] + 1))
        fragment = phenomenon.make(string, fret, rng)
        notes += [_moved(each, at, rng) for each in fragment]
        at += max(each.start + each.length for each in fragment)
        for _ in range(2):
            beside = int(np.clip(string + rng.choice([-1, 1]), 1, 6))
            plain = max(fret + int(rng.choice([-2, 0, 2, 3])), 0)
            notes.append(_moved(note(Fraction(0), E, beside, min(plain, 22)), at, rng))
            at += E
    style = PlayingStyle(**dict(phenomenon.style))  # type: ignore[arg-type]
    return Line(f"{name} {seed}", GUITAR, Meter(4, 4), float(tempo), tuple(notes)), style


def _moved(each: LineNote, by: Fraction, rng: np.random.Generator) -> LineNote:
    velocity = int(np.clip(each.velocity + rng.normal(0, 6), 20, 127))
    return LineNote(each.start + by, each.length, each.string, each.fret, velocity, each.techniques)
