"""Attempts at known lines, with mistakes planted on purpose: what was done to each note is known.

A line of the bench is played at 50 to 110 % of its tempo, by the bench's player on real notes or by the
project's synthesiser, with a drifting tempo, stops, and passages that are broken off and begun again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from tests.accuracy.compose import compose
from tests.accuracy.handwritten import handwritten
from tests.accuracy.playing import play
from tests.accuracy.splice import splice
from tests.export.bench_drafts import truth_draft
from transcriber.draft import Draft, Phrase
from transcriber.practice.wanted import Wanted, wanted_notes
from transcriber.records.line import Line, LineNote, Performance
from transcriber.records.technique import Technique
from transcriber.records.written import Meter
from transcriber.synthesis import STYLES, TONES, perform, render_performance

KINDS = (
    "missed", "wrong_pitch", "extra", "early", "late", "short", "bend_missing", "bend_flat", "bend_sharp",
    "vibrato_missing", "slur_picked", "slide_missing", "ringing", "off_pitch",
)  # fmt: skip
TECHNIQUE_KINDS = (
    "bend_missing", "bend_flat", "bend_sharp", "vibrato_missing", "slur_picked", "slide_missing",
)  # fmt: skip
TEMPOS = (0.5, 0.65, 0.8, 1.0, 1.1)
SPLITS = {"fit": (("green", "synth"), 3000), "report": (("strat", "emily", "synth"), 4000)}
CONDITIONS = ("techniques", "bends", "straight", "triplets", "dynamics", "six_eight", "written")
SLURS = ("hammer_on", "pull_off")
BENDS = ("bend", "pre_bend")
EVERY = 7  # one note in so many gets a mistake
LEAD_S = 0.5


@dataclass(frozen=True)
class Spec:
    """Which attempt."""

    split: str
    guitar: str
    condition: str
    index: int
    flawless: bool = False

    @property
    def seed(self) -> int:
        """Seed of everything drawn."""
        guitars, first = SPLITS[self.split]
        return first + 100 * CONDITIONS.index(self.condition) + 10 * self.index + guitars.index(self.guitar)

    @property
    def name(self) -> str:
        """Short name."""
        return f"{self.guitar}/{self.condition}/{self.index}{'/flawless' if self.flawless else ''}"


@dataclass
class Stroke:
    """One note as it is to be played: seconds, and which wanted note it stands for (None: an extra)."""

    wanted: int | None
    ideal_s: float
    onset_s: float
    end_s: float
    note: LineNote
    detune: float = 0.0


@dataclass(frozen=True)
class Planted:
    """An attempt with its truth.

    Attributes
    ----------
    draft : Draft
        The reference.
    sound : ndarray
        44,100 Hz.
    mistakes : dict of str to set
        Kind to ids of notes; for ``extra`` to onsets in seconds.
    onsets : dict of str to (float, float)
        Id to time played and time due, for the pass that counts.
    bends : dict of str to float
        Id to cents that the bend really lay off its target.
    ratio : float
        Tempo against the reference.
    restarts : int
    """

    draft: Draft
    sound: np.ndarray
    mistakes: dict[str, set]
    onsets: dict[str, tuple[float, float]]
    bends: dict[str, float]
    ratio: float
    restarts: int


def specs(split: str, each: int) -> list[Spec]:
    """List attempts: `each` of every guitar and condition, every third of them flawless."""
    listed = []
    for guitar in SPLITS[split][0]:
        for place, condition in enumerate(CONDITIONS):
            for index in range(each):
                listed.append(Spec(split, guitar, condition, index, (place + index) % 3 == 2))
    return listed


def line_of(spec: Spec) -> Line:
    """The line that is attempted."""
    if spec.condition == "written":
        own = [number for number in range(len(handwritten())) if number % 2 == (spec.split == "report")]
        return handwritten()[own[spec.seed // 3 % len(own)]].line
    # Lines with many techniques stand for two of six, as those are what has most to be told.
    condition = "techniques" if spec.condition == "bends" else spec.condition
    return compose(condition, spec.index, spec.seed).line


def reference(line: Line, seed: int) -> Draft:
    """A flawless draft of a line, in phrases of two bars."""
    draft = truth_draft(line, seed)
    bars = sorted({note.bar for note in draft.notes})
    starts = [min(note.onset_s for note in draft.notes if note.bar == bar) for bar in bars[::2]]
    ends = [*starts[1:], draft.source.duration_s]
    phrases = tuple(
        Phrase(f"p{n + 1}", f"Phrase {n + 1}", None, start, end)
        for n, (start, end) in enumerate(zip(starts, ends, strict=True))
    )
    return replace(draft, phrases=phrases)


def make(spec: Spec) -> Planted:
    """Plan, play and render one attempt."""
    rng = np.random.default_rng([spec.seed, 5])
    line = line_of(spec)
    draft = reference(line, spec.seed)
    wanted = wanted_notes(draft)
    ratio = float(TEMPOS[rng.integers(len(TEMPOS))])
    beat_s = 60.0 / (line.tempo_bpm * line.meter.tap) / ratio
    strokes, breaks = _strokes(line, wanted, beat_s, rng)
    mistakes: dict[str, set] = {kind: set() for kind in KINDS}
    if not spec.flawless:
        _plant(strokes, wanted, line, beat_s, mistakes, rng)
    performance = _perform(spec, line, strokes)
    sound = _render(spec, performance)
    onsets, bends = {}, {}
    for stroke, played in zip(strokes, performance.notes, strict=True):
        if stroke.wanted is None:
            mistakes["extra"].add(round(played.onset_s, 4))
            continue
        want = wanted[stroke.wanted]
        onsets[want.note.id] = (played.onset_s, stroke.ideal_s)
        asked = [each.semitones or 0.0 for each in want.note.techniques if each.kind in BENDS]
        if asked and any(each.kind in BENDS for each in stroke.note.techniques):
            done = max(float(played.curve_semitones.max()), 0.0)
            bends[want.note.id] = 100.0 * (done - max(asked))
    return Planted(draft, sound, mistakes, onsets, bends, ratio, breaks)


def _strokes(
    line: Line, wanted: tuple[Wanted, ...], beat_s: float, rng: np.random.Generator
) -> tuple[list[Stroke], int]:
    """Lay the line out in time, with a stop, and a passage begun again half of the time."""
    order: list[list[int]] = [list(range(len(wanted)))]
    restarts = 0
    if rng.random() < 0.5 and len(wanted) > 12:
        broke = int(rng.integers(5, len(wanted) - 4))
        opens = [
            n for n in range(max(0, broke - 14), broke - 1) if wanted[n].opens and not _joined(wanted[n])
        ]
        if opens:
            again = opens[int(rng.integers(len(opens)))]
            order = [list(range(broke)), list(range(again, len(wanted)))]
            restarts = 1
    stop_before = int(rng.integers(4, len(wanted))) if rng.random() < 0.5 and len(wanted) > 8 else -1
    if stop_before >= 0 and _joined(wanted[stop_before]):
        stop_before = -1
    strokes: list[Stroke] = []
    clock = LEAD_S
    for part in order:
        first = wanted[part[0]].at
        drift = rng.uniform(-0.03, 0.03)
        lengths = 0.0
        for n in part:
            if n == stop_before and part is order[-1] and n != part[0]:
                clock += float(rng.uniform(0.8, 2.0))
            beats = wanted[n].at - first
            due = clock + beat_s * beats * (1.0 + drift * beats / 60.0)
            lengths = due + beat_s * max(wanted[n].length, 0.1)
            end = due + max(0.96 * beat_s * wanted[n].length, 0.06)
            strokes.append(Stroke(n, due, due, end, line.notes[n]))
        clock = lengths + float(rng.uniform(0.8, 1.8))
    return strokes, restarts


def _joined(want: Wanted) -> bool:
    return want.note.has(*SLURS, "slide", "grace")


def _plant(
    strokes: list[Stroke],
    wanted: tuple[Wanted, ...],
    line: Line,
    beat_s: float,
    mistakes: dict[str, set],
    rng: np.random.Generator,
) -> None:
    """Plant a mistake in every few notes of the pass that counts, the kinds in turn where they can be."""
    last = {stroke.wanted: place for place, stroke in enumerate(strokes)}
    order = list(rng.permutation(len(KINDS)))
    order.sort(key=lambda kind: _rank(KINDS[kind]))
    number = int(rng.integers(2, 5))
    while number < len(wanted) - 2:
        place = last[number]
        for turn, kind in enumerate(order):
            name = KINDS[kind]
            if _DO[name](strokes, place, wanted, line, beat_s, rng):
                if name != "extra":
                    mistakes[name].add(wanted[number].note.id)
                order.append(order.pop(turn))
                order.sort(key=lambda kind: _rank(KINDS[kind]))
                break
        last = {stroke.wanted: spot for spot, stroke in enumerate(strokes) if stroke.wanted is not None}
        number += int(rng.integers(EVERY - 3, EVERY + 2))
    gone = [place for place, stroke in enumerate(strokes) if stroke.end_s < 0]
    for place in reversed(gone):
        del strokes[place]


def _rank(kind: str) -> int:
    """Techniques first, and what few notes allow before what most do."""
    return 0 if kind in TECHNIQUE_KINDS else 1 if kind == "ringing" else 2


def _free(strokes: list[Stroke], place: int) -> bool:
    """Whether a note stands by itself: no gesture joins it to its neighbours, in the line or the pass."""
    here = strokes[place].note
    joined = any(each.kind in (*SLURS, "slide", "grace") for each in here.techniques)
    if joined or place + 1 >= len(strokes) or place == 0:
        return False
    following = strokes[place + 1]
    leads = any(each.kind in (*SLURS, "slide", "grace") for each in following.note.techniques)
    return not leads and following.onset_s > strokes[place].onset_s and strokes[place - 1].end_s >= 0


def _plain(note: LineNote) -> bool:
    return not note.techniques


Doer = Callable[..., bool]


def _missed(strokes, place, wanted, line, beat_s, rng) -> bool:
    if not _free(strokes, place) or not _plain(strokes[place].note):
        return False
    strokes[place].end_s = -1.0
    return True


def _wrong(strokes, place, wanted, line, beat_s, rng) -> bool:
    here = strokes[place]
    if not _free(strokes, place) or not _plain(here.note):
        return False
    fret = here.note.fret + int(rng.choice([-2, -1, 1, 2]))
    near = {_pitch(line, strokes[place + step].note) for step in (-1, 1)}
    changed = replace(here.note, fret=fret)
    if not 0 <= fret <= line.instrument.highest_fret or _pitch(line, changed) in near:
        return False
    here.note = changed
    return True


def _pitch(line: Line, note: LineNote) -> int:
    return line.instrument.open_midi(note.string) + note.fret


def _extra(strokes, place, wanted, line, beat_s, rng) -> bool:
    here = strokes[place]
    if not _free(strokes, place) or not _plain(here.note):
        return False
    gap = strokes[place + 1].onset_s - here.onset_s
    if not 0.3 < gap < 3.0:
        return False
    fret = here.note.fret + int(rng.choice([1, 2, 3]))
    if fret > line.instrument.highest_fret:
        return False
    at = here.onset_s + 0.5 * gap
    end = at + 0.46 * gap
    here.end_s = min(here.end_s, at - 0.005)
    strokes.insert(place + 1, Stroke(None, at, at, end, replace(here.note, fret=fret, techniques=())))
    return True


def _moved(sign: int) -> Doer:
    def move(strokes, place, wanted, line, beat_s, rng) -> bool:
        here = strokes[place]
        if not _free(strokes, place):
            return False
        gap = strokes[place + 1].onset_s - here.onset_s
        before = here.onset_s - strokes[place - 1].onset_s
        least = 1.5 * max(0.05, 0.05 * beat_s)
        shift = float(rng.uniform(least, least + 0.05))
        if shift > 0.45 * min(gap, before) or before > 1.5:
            return False
        here.onset_s += sign * shift
        if sign < 0:
            strokes[place - 1].end_s = min(strokes[place - 1].end_s, here.onset_s - 0.004)
        return True

    return move


def _short(strokes, place, wanted, line, beat_s, rng) -> bool:
    here = strokes[place]
    length = here.end_s - here.onset_s
    if not _free(strokes, place) or not _plain(here.note) or not 0.45 < length < 1.5:
        return False
    here.end_s = here.onset_s + 0.25 * length
    return True


def _without(*kinds: str) -> Doer:
    def leave_out(strokes, place, wanted, line, beat_s, rng) -> bool:
        here = strokes[place]
        if not any(each.kind in kinds for each in here.note.techniques):
            return False
        asked = next(each for each in here.note.techniques if each.kind in kinds)
        if asked.kind == "vibrato" and (here.end_s - here.onset_s < 0.6 or _has(here.note, *BENDS)):
            return False
        if asked.kind == "slide" and place and _steps(strokes[place - 1].note, here.note) < 2:
            return False
        gone = (*kinds, "release") if "bend" in kinds else kinds
        if "bend" in kinds and _has(here.note, "vibrato"):
            return False
        kept = tuple(each for each in here.note.techniques if each.kind not in gone)
        here.note = replace(here.note, techniques=kept)
        return True

    return leave_out


def _steps(before: LineNote, note: LineNote) -> int:
    return abs(before.fret - note.fret) if before.string == note.string else 99


def _has(note: LineNote, *kinds: str) -> bool:
    return any(each.kind in kinds for each in note.techniques)


def _bent(sign: int) -> Doer:
    def bend(strokes, place, wanted, line, beat_s, rng) -> bool:
        here = strokes[place]
        if not _has(here.note, *BENDS) or here.end_s - here.onset_s < 0.25:
            return False
        off = sign * float(rng.uniform(0.55, 0.8))
        changed = tuple(
            replace(each, semitones=(each.semitones or 0.0) + off) if each.kind in BENDS else each
            for each in here.note.techniques
        )
        if min((each.semitones or 0.0) for each in changed if each.kind in BENDS) < 0.9 and sign < 0:
            return False
        here.note = replace(here.note, techniques=changed)
        return True

    return bend


def _ringing(strokes, place, wanted, line, beat_s, rng) -> bool:
    before, here = strokes[place - 1], strokes[place]
    if not _free(strokes, place) or not _plain(here.note) or not _plain(before.note) or place < 2:
        return False
    if before.note.string == here.note.string or here.end_s - here.onset_s < 0.3:
        return False
    if here.onset_s - before.onset_s < 0.25 or here.onset_s - before.end_s > 0.2:
        return False
    for later in strokes[place : place + 3]:
        if later.note.string == before.note.string:
            return False
    interval = abs(_pitch(line, before.note) - _pitch(line, here.note)) % 12
    if interval in (0, 5, 7):
        return False
    before.end_s = min(here.end_s, here.onset_s + 0.8)
    before.note = replace(before.note, techniques=(Technique("let_ring"),))
    return True


def _off(strokes, place, wanted, line, beat_s, rng) -> bool:
    here = strokes[place]
    if not _free(strokes, place) or not _plain(here.note) or here.end_s - here.onset_s < 0.2:
        return False
    here.detune = float(rng.choice([-1, 1])) * 0.46
    return True


_DO: dict[str, Doer] = {
    "missed": _missed,
    "wrong_pitch": _wrong,
    "extra": _extra,
    "early": _moved(-1),
    "late": _moved(1),
    "short": _short,
    "bend_missing": _without("bend", "pre_bend"),
    "bend_flat": _bent(-1),
    "bend_sharp": _bent(1),
    "vibrato_missing": _without("vibrato"),
    "slur_picked": _without(*SLURS),
    "slide_missing": _without("slide"),
    "ringing": _ringing,
    "off_pitch": _off,
}


def _perform(spec: Spec, line: Line, strokes: list[Stroke]) -> Performance:
    """Play the strokes: a line in beats of one second, so that the players' own habits stay theirs."""
    notes = tuple(
        replace(
            stroke.note,
            start=Fraction(round(1000 * stroke.onset_s), 1000),
            length=Fraction(max(round(1000 * (stroke.end_s - stroke.onset_s)), 30), 1000)
            if not _has(stroke.note, "grace")
            else Fraction(0),
        )
        for stroke in strokes
    )
    if spec.guitar != "synth":
        notes = tuple(replace(note, length=note.length or Fraction(60, 1000)) for note in notes)
        notes = tuple(
            replace(note, techniques=tuple(each for each in note.techniques if each.kind != "let_ring"))
            for note in notes
        )
    timed = replace(line, notes=notes, tempo_bpm=60.0, meter=Meter(4, 4), swing=None)
    if spec.guitar == "synth":
        beats = (np.arange(0.0, strokes[-1].end_s + 3.0), 0)
        style = replace(STYLES["steady"], articulation=1.0)
        performance = perform(timed, style, spec.seed, beats)
    else:
        performance = play(timed, spec.seed)
        offset = performance.beats_s[0] - performance.first_beat
        for stroke in strokes:
            stroke.ideal_s += offset
        ringing = {place for place, stroke in enumerate(strokes) if _has(stroke.note, "let_ring")}
        performance = _let_ring(performance, strokes, ringing, offset)
    return _detuned(performance, strokes)


def _let_ring(
    performance: Performance, strokes: list[Stroke], ringing: set[int], offset: float
) -> Performance:
    notes = list(performance.notes)
    for place in ringing:
        end = strokes[place].end_s + offset
        times = np.append(notes[place].curve_times_s, end)
        values = np.append(notes[place].curve_semitones, notes[place].curve_semitones[-1])
        notes[place] = replace(notes[place], end_s=end, curve_times_s=times, curve_semitones=values)
    return replace(performance, notes=tuple(notes))


def _detuned(performance: Performance, strokes: list[Stroke]) -> Performance:
    notes = [
        replace(note, curve_semitones=note.curve_semitones + stroke.detune)
        for note, stroke in zip(performance.notes, strokes, strict=True)
    ]
    return replace(performance, notes=tuple(notes))


def _render(spec: Spec, performance: Performance) -> np.ndarray:
    if spec.guitar == "synth":
        tone = TONES[("clean", "warm", "bright", "edge")[spec.seed % 4]]
        return render_performance(performance, tone, spec.seed)
    return splice(performance, spec.guitar)
