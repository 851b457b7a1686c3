"""What the hands did to a note."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

TechniqueKind = Literal[
    "bend",
    "pre_bend",
    "release",
    "vibrato",
    "slide",
    "slide_in",
    "slide_out",
    "hammer_on",
    "pull_off",
    "grace",
    "trill",
    "palm_mute",
    "dead_note",
    "natural_harmonic",
    "staccato",
    "let_ring",
]
TECHNIQUE_KINDS: tuple[str, ...] = get_args(TechniqueKind)


@dataclass(frozen=True)
class Technique:
    """One technique on one note. Fields that a kind does not use stay None.

    Attributes
    ----------
    kind : str
        One of `TECHNIQUE_KINDS`. `slide`, `hammer_on` and `pull_off` stand on the note they lead to.
    start_s, end_s : float or None
        When the gesture begins and ends, seconds in the file.
    semitones : float or None
        Bend, pre-bend: target above the fretted pitch, in semitones. Release: the height it falls to
        (0 is the fret itself). Trill, until its place is known: interval to the other pitch.
    rate_hz, depth_semitones : float or None
        Vibrato: cycles a second, and peak-to-peak depth.
    direction : {"up", "down"} or None
        Slide in: where it comes from is below ("up") or above ("down"). Slide out: where it goes.
    picked : bool or None
        Slide: whether the note was picked again on arrival.
    to_fret : int or None
        Trill: the other fret.
    optional : bool
        True marks a technique a player is free to leave out.
    """

    kind: TechniqueKind
    start_s: float | None = None
    end_s: float | None = None
    semitones: float | None = None
    rate_hz: float | None = None
    depth_semitones: float | None = None
    direction: Literal["up", "down"] | None = None
    picked: bool | None = None
    to_fret: int | None = None
    optional: bool = False
