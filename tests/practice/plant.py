"""Mistakes planted on purpose: every kind in turn where a note allows it, never two near one another."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tests.accuracy.playing import BEND_S
from tests.practice.strokes import BENDS, JOINED, SLURS, Stroke, has
from transcriber.practice.wanted import Wanted
from transcriber.records.line import Line, LineNote
from transcriber.records.technique import Technique

KINDS = (
    "missed", "wrong_pitch", "extra", "early", "late", "short", "long", "off_pitch",
    "bend_missing", "bend_flat", "bend_sharp", "bend_slow", "vibrato_missing", "vibrato_differs",
    "slur_picked", "slide_missing", "ringing",
)  # fmt: skip
# What few notes allow comes first.
RARE = (
    "bend_missing", "bend_flat", "bend_sharp", "bend_slow", "vibrato_missing", "vibrato_differs",
    "slide_missing", "ringing", "long", "slur_picked", "short",
)  # fmt: skip
APART = 3
ONE_IN = 5
# Intermediate ear: 50 ms or 5 % of the beat, 35 cents.
TIMING_S, TIMING_SHARE = 0.05, 0.05


@dataclass
class Scene:
    """What a mistake is planted into: the strokes, the place of one among them, the line and its tempo."""

    strokes: list[Stroke]
    place: int
    line: Line
    beat_s: float
    rng: np.random.Generator

    @property
    def here(self) -> Stroke:
        """The note itself."""
        return self.strokes[self.place]

    @property
    def before(self) -> Stroke:
        """The note before."""
        return self.strokes[self.place - 1]

    @property
    def after(self) -> Stroke:
        """The note after."""
        return self.strokes[self.place + 1]

    @property
    def lasts_s(self) -> float:
        """How long the note sounds."""
        return self.here.end_s - self.here.onset_s

    def free(self) -> bool:
        """Whether no gesture joins the note to its neighbours, and both are of one run."""
        if self.place == 0 or self.place + 1 >= len(self.strokes):
            return False
        joined = has(self.here.note, *JOINED) or has(self.after.note, *JOINED)
        return not joined and self.before.end_s >= 0 and self.after.wanted == (self.here.wanted or 0) + 1

    def plain(self) -> bool:
        """Whether it also has no technique."""
        return self.free() and not self.here.note.techniques

    def pitch(self, note: LineNote) -> int:
        """Fretted pitch of a note."""
        return self.line.instrument.open_midi(note.string) + note.fret


def plant(
    strokes: list[Stroke], wanted: Sequence[Wanted], line: Line, beat_s: float, rng: np.random.Generator
) -> dict[str, set[str]]:
    """Plant mistakes in the pass that counts; return kind to ids (``extra``: none, it has no note).

    Strokes of notes that are left out are removed, extras are added.
    """
    mistakes: dict[str, set[str]] = {kind: set() for kind in KINDS}
    taken: list[int] = []
    order = sorted(rng.permutation(len(KINDS)), key=lambda kind: KINDS[kind] not in RARE)
    while len(taken) < len(wanted) // ONE_IN:
        planted = 0
        for name in (KINDS[kind] for kind in order):
            if len(taken) >= len(wanted) // ONE_IN:
                break
            number = _plant_one(name, strokes, wanted, taken, (line, beat_s, rng))
            if number is not None:
                taken.append(number)
                planted += 1
                if name != "extra":
                    mistakes[name].add(wanted[number].note.id)
        if not planted:
            break
    strokes[:] = [stroke for stroke in strokes if stroke.end_s >= 0]
    return mistakes


def _plant_one(
    name: str,
    strokes: list[Stroke],
    wanted: Sequence[Wanted],
    taken: Sequence[int],
    world: tuple[Line, float, np.random.Generator],
) -> int | None:
    line, beat_s, rng = world
    last = {stroke.wanted: place for place, stroke in enumerate(strokes) if stroke.wanted is not None}
    for number in rng.permutation(np.arange(1, len(wanted) - 1)):
        if number in last and all(abs(int(number) - other) >= APART for other in taken):
            scene = Scene(strokes, last[int(number)], line, beat_s, rng)
            if PLANTERS[name](scene):
                return int(number)
    return None


Planter = Callable[[Scene], bool]


def _missed(scene: Scene) -> bool:
    if not scene.plain():
        return False
    scene.here.end_s = -1.0
    return True


def _wrong(scene: Scene) -> bool:
    here = scene.here
    fret = here.note.fret + int(scene.rng.choice([-2, -1, 1, 2]))
    if not scene.plain() or not 0 <= fret <= scene.line.instrument.highest_fret:
        return False
    changed = replace(here.note, fret=fret)
    if scene.pitch(changed) in {scene.pitch(scene.before.note), scene.pitch(scene.after.note)}:
        return False
    here.note = changed
    return True


def _extra(scene: Scene) -> bool:
    here = scene.here
    if not scene.plain():
        return False
    gap = scene.after.onset_s - here.onset_s
    fret = here.note.fret + int(scene.rng.choice([1, 2, 3]))
    if not 0.3 < gap < 3.0 or fret > scene.line.instrument.highest_fret:
        return False
    at = here.onset_s + 0.5 * gap
    here.end_s = min(here.end_s, at - 0.005)
    added = Stroke(None, at, at, at + 0.46 * gap, replace(here.note, fret=fret))
    scene.strokes.insert(scene.place + 1, added)
    return True


def _moved(sign: int) -> Planter:
    def move(scene: Scene) -> bool:
        here = scene.here
        if not scene.free():
            return False
        gap, before = scene.after.onset_s - here.onset_s, here.onset_s - scene.before.onset_s
        least = 1.5 * max(TIMING_S, TIMING_SHARE * scene.beat_s)
        shift = float(scene.rng.uniform(least, least + 0.05))
        if shift > 0.45 * min(gap, before) or before > 1.5:
            return False
        here.onset_s += sign * shift
        if sign < 0:
            scene.before.end_s = min(scene.before.end_s, here.onset_s - 0.004)
        return True

    return move


def _short(scene: Scene) -> bool:
    if not scene.plain() or not 0.45 < scene.lasts_s < 1.5:
        return False
    scene.here.end_s = scene.here.onset_s + 0.25 * scene.lasts_s
    return True


def _long(scene: Scene) -> bool:
    """Held on through a written rest."""
    if not scene.plain():
        return False
    rest = scene.after.onset_s - scene.here.end_s
    if rest < max(0.4, 1.1 * scene.lasts_s) or scene.after.onset_s - scene.here.onset_s > 1.4:
        return False
    scene.here.end_s = scene.after.onset_s - 0.02
    return True


def _off(scene: Scene) -> bool:
    if not scene.plain() or scene.lasts_s < 0.2:
        return False
    scene.here.detune = float(scene.rng.choice([-1, 1])) * 0.43
    return True


def _without(*kinds: str) -> Planter:
    def leave_out(scene: Scene) -> bool:
        here = scene.here
        if not has(here.note, *kinds):
            return False
        if "vibrato" in kinds and (scene.lasts_s < 0.6 or has(here.note, *BENDS)):
            return False
        if "slide" in kinds and not (scene.place and _frets(scene.before.note, here.note) >= 2):
            return False
        if "bend" in kinds and has(here.note, "vibrato"):
            return False
        gone = (*kinds, "release") if "bend" in kinds else kinds
        kept = tuple(each for each in here.note.techniques if each.kind not in gone)
        here.note = replace(here.note, techniques=kept)
        return True

    return leave_out


def _frets(before: LineNote, note: LineNote) -> int:
    return abs(before.fret - note.fret) if before.string == note.string else 0


def _bent(sign: int) -> Planter:
    def bend(scene: Scene) -> bool:
        here = scene.here
        if not has(here.note, *BENDS) or scene.lasts_s < 0.25:
            return False
        off = sign * float(scene.rng.uniform(0.55, 0.8))
        asked = [each.semitones or 0.0 for each in here.note.techniques if each.kind in BENDS]
        if sign < 0 and min(asked) + off < 0.9:
            return False
        here.note = _changed(here.note, BENDS, lambda each: {"semitones": (each.semitones or 0.0) + off})
        return True

    return bend


def _changed(note: LineNote, kinds: Sequence[str], how: Callable[[Technique], dict]) -> LineNote:
    techniques = tuple(replace(each, **how(each)) if each.kind in kinds else each for each in note.techniques)
    return replace(note, techniques=techniques)


def _bend_slow(scene: Scene) -> bool:
    """Creeps up to its target for over three times as long as any bend of the reference."""
    if not has(scene.here.note, "bend") or has(scene.here.note, "release", "vibrato"):
        return False
    slower = max(scene.beat_s * scene.line.tempo_bpm * scene.line.meter.tap / 60.0, 1.0)
    rises_s = float(scene.rng.uniform(1.2, 1.3)) * 3.0 * slower * BEND_S[1]
    if rises_s > 0.85 * scene.lasts_s:
        return False
    scene.here.rises_s = rises_s
    return True


def _vibrato_differs(scene: Scene) -> bool:
    """At half the rate, or with less than half the depth."""
    here = scene.here
    if not has(here.note, "vibrato") or has(here.note, *BENDS) or scene.lasts_s < 0.8:
        return False
    asked = next(each for each in here.note.techniques if each.kind == "vibrato")
    if scene.rng.random() < 0.5 and scene.lasts_s > 1.2:
        here.note = _changed(here.note, ("vibrato",), lambda each: {"rate_hz": 0.5 * (each.rate_hz or 5.0)})
    elif (asked.depth_semitones or 0.0) >= 0.5:
        here.note = _changed(
            here.note, ("vibrato",), lambda each: {"depth_semitones": 0.42 * (each.depth_semitones or 0.5)}
        )
    else:
        return False
    return True


def _ringing(scene: Scene) -> bool:
    """The note before is left to ring on its own string well into this one."""
    before, here = scene.before, scene.here
    if not scene.plain() or before.note.techniques or scene.place < 2 or scene.lasts_s < 0.3:
        return False
    if before.note.string == here.note.string or before.wanted != (here.wanted or 0) - 1:
        return False
    if here.onset_s - before.onset_s < 0.25 or here.onset_s - before.end_s > 0.2:
        return False
    if any(later.note.string == before.note.string for later in scene.strokes[scene.place : scene.place + 3]):
        return False
    if abs(scene.pitch(before.note) - scene.pitch(here.note)) % 12 in (0, 5, 7):
        return False
    before.end_s = min(here.end_s, here.onset_s + 0.8)
    before.rings = True
    return True


PLANTERS: dict[str, Planter] = {
    "missed": _missed,
    "wrong_pitch": _wrong,
    "extra": _extra,
    "early": _moved(-1),
    "late": _moved(1),
    "short": _short,
    "long": _long,
    "off_pitch": _off,
    "bend_missing": _without("bend", "pre_bend"),
    "bend_flat": _bent(-1),
    "bend_sharp": _bent(1),
    "bend_slow": _bend_slow,
    "vibrato_missing": _without("vibrato"),
    "vibrato_differs": _vibrato_differs,
    "slur_picked": _without(*SLURS),
    "slide_missing": _without("slide"),
    "ringing": _ringing,
}
