"""Each phrase as sound to play along with: slow and at tempo, with a click, as a loop or after a count-in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from transcriber.draft import Draft, Phrase
from transcriber.practice.stretch import kept_around, stretched
from transcriber.records.pitch import midi_to_hz

Sound = npt.NDArray[np.float32]

HIGHEST_PEAK_DB = -1.0
TAKE_PEAK_DB, CLICK_PEAK_DB, CHORD_PEAK_DB = -9.0, -18.0, -21.0
CLICK_HZ, BAR_CLICK_HZ, CLICK_S = 1000.0, 1500.0, 0.03
EDGE_S = 0.006
# A loop is cut so long before its beat, that an early first attack lies in it whole.
BEFORE_BEAT_S = 0.04
_LET_OUT_S = 0.02
_STRUM_S, _CHORD_FALL_S, _CHORD_PARTIALS = 0.012, 1.2, 5


@dataclass(frozen=True)
class Span:
    """A phrase on the beats: from `first` up to `last` denominator beats, whole bars long."""

    phrase: Phrase
    number: int
    first: Fraction
    last: Fraction


@dataclass(frozen=True)
class Backing:
    """A chord of the backing: when it begins, in denominator beats, how long it holds, and its pitches."""

    start: Fraction
    length: Fraction
    pitches_midi: tuple[int, ...]


def loop_spans(draft: Draft) -> tuple[Span, ...]:
    """Lay phrases on beats: from the tapped beat of the first note on, as many whole bars as it needs."""
    whole = Phrase("whole", "", None, 0.0, draft.source.duration_s + 1.0)
    spans = []
    for number, phrase in enumerate(draft.phrases or (whole,), start=1):
        notes = [note for note in draft.phrase_notes(phrase) if not note.is_grace]
        if not notes:
            continue
        tap, bar = draft.meter.tap, draft.meter.beats
        start = min(note.start(draft.meter) for note in notes)
        first = Fraction(start // tap * tap)
        end = max(note.end(draft.meter) for note in notes)
        bars = max(1, -(-(end - first) // bar))
        spans.append(Span(phrase, number, first, first + bars * bar))
    return tuple(spans)


@dataclass(frozen=True)
class LoopSettings:
    """What a loop is made with: the speed (1 is the take's), a click, and the chords of a backing."""

    speed: float
    click: bool = True
    backing: tuple[Backing, ...] = ()


def phrase_loop(
    draft: Draft, span: Span, sound: Sound, rate_hz: int, settings: LoopSettings
) -> tuple[Sound, Sound]:
    """Make the sounds of a phrase at one speed.

    Parameters
    ----------
    draft : Draft
    span : Span
    sound : ndarray of float32, shape (n,)
        The whole take.
    rate_hz : int
    settings : LoopSettings

    Returns
    -------
    loop, lead : ndarray of float32
        The loop, which goes on from its last sample to its first on the beat; and a bar of clicks before it.
        Neither is louder than `HIGHEST_PEAK_DB`.
    """
    timing = draft.timing
    begin = timing.time_of(span.first) - BEFORE_BEAT_S
    length_s = timing.time_of(span.last) - BEFORE_BEAT_S - begin
    notes = draft.phrase_notes(span.phrase)
    after = min(
        (n.onset_s for n in draft.notes if n.onset_s >= span.phrase.end_s - 1e-6), default=float("inf")
    )
    until = min(begin + length_s, after - _LET_OUT_S, draft.source.duration_s)
    take = _cut(sound, rate_hz, begin, until, length_s)
    inside = [note for note in notes if begin <= note.onset_s < until]
    attacks = [note.onset_s - begin for note in inside]
    leads = [
        min(max(0.0, n.onset_s - t.start_s), 0.15) if (t := n.technique("slide")) and t.start_s else 0.0
        for n in inside
    ]
    slow = stretched(take, rate_hz, settings.speed, kept_around(attacks, leads))
    out = _to_peak(_edged(slow, rate_hz), TAKE_PEAK_DB)
    beats = [span.first + n for n in range(int(span.last - span.first)) if not n % draft.meter.tap]
    if settings.click:
        for beat in beats:
            at = (timing.time_of(beat) - begin) / settings.speed
            _add(out, click(rate_hz, beat % draft.meter.beats == 0), at, rate_hz)
    for chord in settings.backing:
        start, stop = max(chord.start, span.first), min(chord.start + chord.length, span.last)
        if start < stop:
            at = (timing.time_of(start) - begin) / settings.speed
            holds = (timing.time_of(stop) - begin) / settings.speed - at
            _add(
                out, strummed(chord.pitches_midi, holds, rate_hz, draft.instrument.reference_hz), at, rate_hz
            )
    beat_s = length_s / int(span.last - span.first) / settings.speed
    lead = _count_in(draft, beat_s, BEFORE_BEAT_S / settings.speed, rate_hz)
    return _safe(out), _safe(lead)


def click(rate_hz: int, opens_bar: bool) -> Sound:
    """One click, higher at a bar line; it begins and ends at nothing."""
    times = np.arange(round(CLICK_S * rate_hz)) / rate_hz
    hz = BAR_CLICK_HZ if opens_bar else CLICK_HZ
    shape = np.minimum(times / 0.001, 1.0) * np.exp(-times / 0.006) * (1.0 - times / CLICK_S)
    return _to_peak(np.asarray(np.sin(2 * np.pi * hz * times) * shape, dtype=np.float32), CLICK_PEAK_DB)


def strummed(
    pitches_midi: Sequence[int], length_s: float, rate_hz: int, reference_hz: float = 440.0
) -> Sound:
    """A chord struck once, plain and soft, that dies away and is damped at its end."""
    times = np.arange(max(round(length_s * rate_hz), 1)) / rate_hz
    out = np.zeros(len(times))
    for place, pitch in enumerate(pitches_midi):
        since = times - _STRUM_S * place
        hz = midi_to_hz(pitch, reference_hz)
        tone = sum(
            np.sin(2 * np.pi * hz * k * since) * np.exp(-since * k / _CHORD_FALL_S) / k**2
            for k in range(1, _CHORD_PARTIALS + 1)
        )
        out += np.where(since > 0, tone, 0.0) * np.clip(since / 0.004, 0.0, 1.0)
    edge = min(round(0.03 * rate_hz), len(out))
    out[len(out) - edge :] *= np.linspace(1.0, 0.0, edge)
    return _to_peak(out.astype(np.float32), CHORD_PEAK_DB)


def _count_in(draft: Draft, beat_s: float, before_s: float, rate_hz: int) -> Sound:
    """One bar of clicks at the loop's tempo, shorter by what the loop has before its first beat."""
    out = np.zeros(round((draft.meter.beats * beat_s - before_s) * rate_hz), dtype=np.float32)
    for beat in range(0, draft.meter.beats, draft.meter.tap):
        _add(out, click(rate_hz, beat == 0), beat * beat_s, rate_hz)
    return out


def _cut(sound: Sound, rate_hz: int, begin_s: float, until_s: float, length_s: float) -> Sound:
    """The phrase's part of the take, nothing after its end, its edges led from and to nothing."""
    out = np.zeros(round(length_s * rate_hz), dtype=np.float32)
    first = round(begin_s * rate_hz)
    low = max(first, 0)
    part = np.array(sound[low : max(min(round(until_s * rate_hz), len(sound)), low)])[
        : len(out) - (low - first)
    ]
    part = _edged(part, rate_hz)
    out[low - first : low - first + len(part)] = part
    return out


def _edged(sound: Sound, rate_hz: int) -> Sound:
    """Lead the edges from and to nothing."""
    edge = min(round(EDGE_S * rate_hz), len(sound) // 2)
    out = np.array(sound)
    if edge:
        ramp = (0.5 - 0.5 * np.cos(np.pi * np.arange(edge) / edge)).astype(np.float32)
        out[:edge] *= ramp
        out[len(out) - edge :] *= ramp[::-1]
    return out


def _add(out: Sound, what: Sound, at_s: float, rate_hz: int) -> None:
    first = round(at_s * rate_hz)
    part = what[: max(len(out) - first, 0)]
    out[first : first + len(part)] += part


def _to_peak(sound: Sound, peak_db: float) -> Sound:
    peak = float(np.abs(sound).max(initial=0.0))
    return sound if peak < 1e-6 else np.asarray(sound * (10 ** (peak_db / 20) / peak), dtype=np.float32)


def _safe(sound: Sound) -> Sound:
    """Turn down what would be louder than `HIGHEST_PEAK_DB`."""
    peak = float(np.abs(sound).max(initial=0.0))
    return _to_peak(sound, HIGHEST_PEAK_DB - 0.01) if peak > 10 ** (HIGHEST_PEAK_DB / 20) else sound
