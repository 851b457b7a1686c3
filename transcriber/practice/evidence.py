"""A second look at the sound with the reference in mind: pitch, attacks and strings that ring on.

Listening decides without knowing the line. Where its decision would count against the student, the sound
itself is asked for what the reference says, and the student has the benefit of the doubt.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from transcriber.records.heard import Heard, HeardNote
from transcriber.records.pitch import hz_to_midi, midi_to_hz

FloatArray = npt.NDArray[np.float64]

_HOP_S, _WINDOW_S = 0.004, 0.016
_ATTACK_BAND_HZ = (1200.0, 9000.0)
_BEFORE_S, _AFTER_S = 0.045, 0.03
_PARTIALS, _PARTIAL_WIDTH = 6, 0.025
_FLOOR_BELOW_DB = 60.0
_RISE_PERIODS, _RISE_S, _GUARD_S = 16, (0.08, 0.16), 0.015
_USUAL_STEP_S, _MOST_WINDOWS, _USUAL_SHARE = 0.2, 300, 30.0
_NEAR_S = (-0.03, -0.015, 0.0, 0.015, 0.03)
_NOTE_REACH_CENTS, _FEWEST_FRAMES = 80.0, 8
# A hand takes a string down by more than this within a tenth of a second; plain decay takes it by less.
_DAMPED_DB, _BELOW_FLOOR_DB = 12.0, 20.0
# Partials of two notes nearer than this share, or than the window's main lobe, cannot be told apart.
_CLEAR_OF, _CLEAR_LOBES = 0.045, 4.0
# A partial stands out of what lies around it by this factor, or it is none.
_STANDS_OUT, _AROUND = 4.0, 0.2


@dataclass(frozen=True)
class Attempt:
    """An attempt as recorded and as heard.

    Attributes
    ----------
    heard : Heard
    samples : ndarray of float32, shape (n,)
    rate_hz : int
    start_s : float
        Time in the file of the first sample.
    """

    heard: Heard
    samples: npt.NDArray[np.float32]
    rate_hz: int
    start_s: float = 0.0

    @cached_property
    def _pitch(self) -> FloatArray:
        """Pitch of each frame; NaN where there is none."""
        return self._as_midi(self.heard.track.frequency_hz)

    @cached_property
    def _guess(self) -> FloatArray:
        """Likeliest pitch of each frame, even where there is none; NaN in silence."""
        return self._as_midi(self.heard.track.guess_hz)

    def _as_midi(self, hz: FloatArray) -> FloatArray:
        """Frequencies as MIDI numbers by the attempt's own tuning."""
        out = np.full(len(hz), np.nan)
        sounding = np.isfinite(hz) & (hz > 0)
        out[sounding] = [hz_to_midi(float(each), self.heard.reference_hz) for each in hz[sounding]]
        return out

    @cached_property
    def _attack_db(self) -> FloatArray:
        """Level of the band in which a pick is heard, dB, every `_HOP_S`."""
        window = int(_WINDOW_S * self.rate_hz)
        hop = int(_HOP_S * self.rate_hz)
        padded = np.pad(np.asarray(self.samples, dtype=np.float64), (window // 2, window))
        frames = np.lib.stride_tricks.sliding_window_view(padded, window)[::hop]
        out = np.empty(len(frames))
        hz = np.fft.rfftfreq(window, 1.0 / self.rate_hz)
        band = (hz >= _ATTACK_BAND_HZ[0]) & (hz <= _ATTACK_BAND_HZ[1])
        shape = np.hanning(window)
        for first in range(0, len(frames), 4096):
            spectra = np.abs(np.fft.rfft(frames[first : first + 4096] * shape, axis=1))[:, band]
            out[first : first + 4096] = 10.0 * np.log10((spectra**2).sum(axis=1) + 1e-9)
        return out

    @cached_property
    def floor_db(self) -> float:
        """Level on the scale of `level_of` below which nothing of the line is heard."""
        peak = float(np.percentile(np.abs(self.samples), 99.5)) if len(self.samples) else 0.0
        return 20.0 * float(np.log10(max(peak, 1e-6))) - _FLOOR_BELOW_DB

    def attack(self, time_s: float) -> float:
        """Rise of the pick's band around a time, dB."""
        hop_s = int(_HOP_S * self.rate_hz) / self.rate_hz
        here = round((time_s - self.start_s) / hop_s)
        near, reach = round(_BEFORE_S / hop_s), round(_AFTER_S / hop_s)
        level = self._attack_db
        first, last = max(here - near, 0), min(here + reach, len(level) - 1)
        if last - first < 8:
            return 0.0
        part = level[first : last + 1]
        return max(
            float(part[place : place + 5].max() - part[max(0, place - 5) : place].min())
            for place in range(5, len(part) - 3)
        )

    def pick_level(self, time_s: float) -> float:
        """Level of the pick's band just after a time, dB."""
        hop_s = int(_HOP_S * self.rate_hz) / self.rate_hz
        here = round((time_s - self.start_s) / hop_s)
        part = self._attack_db[max(here - 3, 0) : max(here + 9, 1)]
        return float(part.max()) if len(part) else -90.0

    def pitches(self, from_s: float, to_s: float) -> tuple[FloatArray, FloatArray]:
        """Times and pitches of the frames of a span; NaN where there is no pitch."""
        times = self.heard.track.times_s
        first, last = np.searchsorted(times, [from_s, to_s])
        return times[first:last], self._pitch[first:last]

    def guesses(self, from_s: float, to_s: float) -> FloatArray:
        """Likeliest pitches of the frames of a span, faint ones too."""
        first, last = np.searchsorted(self.heard.track.times_s, [from_s, to_s])
        return self._guess[first:last]

    def comes_up(self, midi: float, time_s: float, apart_from: tuple[float, ...]) -> float:
        """Rise in dB of a note's partials at a time, those that others share left out; 0 if none is left."""
        for span_s in (self.rise_span(midi), _RISE_S[1]):
            then = self.level_of(midi, time_s - _GUARD_S - span_s, time_s - _GUARD_S, apart_from)
            now = self.level_of(midi, time_s, time_s + span_s, apart_from)
            if then is not None and now is not None:
                return now - max(then, self.floor_db)
        return 0.0

    def rise_span(self, midi: float) -> float:
        """Seconds of sound on either side of a time in which `comes_up` looks for a pitch."""
        period_s = 1.0 / midi_to_hz(midi, self.heard.reference_hz)
        return min(max(_RISE_PERIODS * period_s, _RISE_S[0]), _RISE_S[1])

    def struck_again(self, midi: float, time_s: float) -> float:
        """Rise in dB of a pitch that sounds already: above 0 where it is struck anew, whatever clicks there.

        The most of a few times near the one given; a string that only goes on dies away.
        """
        return max(self.comes_up(midi, time_s + off, ()) for off in _NEAR_S)

    def as_note(self, pitch: int, height: float, onset_s: float, until_s: float) -> HeardNote | None:
        """A note that listening left out, read from the pitch track; None where too little of it is clear."""
        times, pitches = self.pitches(onset_s, until_s)
        cents = 100.0 * (pitches - pitch)
        near = (cents > -_NOTE_REACH_CENTS) & (cents < 100.0 * height + _NOTE_REACH_CENTS)
        if near.sum() < _FEWEST_FRAMES:
            return None
        last = int(np.flatnonzero(near)[-1])
        contour = np.where(near, cents, np.nan)[: last + 1]
        span = times[: last + 1]
        contour.flags.writeable = False
        return HeardNote(onset_s, float(span[-1]), pitch, 1, (), span, contour, 0.0, 0.0, 0.0)

    def damped(self, midi: float, time_s: float) -> bool:
        """Whether a pitch is cut off at a time, rather than dying away by itself."""
        before = self.level_of(midi, time_s - 0.12, time_s - 0.03, ())
        after = self.level_of(midi, time_s + 0.04, time_s + 0.13, ())
        if before is None or after is None:
            return True
        return before - max(after, self.floor_db - _BELOW_FLOOR_DB) > _DAMPED_DB

    def sounds(
        self, pitch_low: float, pitch_high: float, from_s: float, to_s: float
    ) -> tuple[float, float | None]:
        """Share of a span's frames that lie within pitches, and when the first row of three begins."""
        times, pitch = self.pitches(from_s, to_s)
        if not len(times):
            return 0.0, None
        inside = (pitch >= pitch_low) & (pitch <= pitch_high)
        rows = np.convolve(inside, np.ones(3), "valid") >= 3
        first = float(times[int(np.argmax(rows))]) if len(rows) and rows.any() else None
        return float(inside.mean()), first

    def usual_level(self, midi: float, apart_from: tuple[float, ...], window_s: float) -> float | None:
        """Level in dB that a pitch has through most of the attempt: what a drone or a backing makes of it."""
        last_s = self.start_s + len(self.samples) / self.rate_hz - window_s
        times = np.arange(self.start_s, last_s, max(_USUAL_STEP_S, (last_s - self.start_s) / _MOST_WINDOWS))
        levels = [self.level_of(midi, time, time + window_s, apart_from) for time in times]
        told = [level for level in levels if level is not None]
        return float(np.percentile(told, _USUAL_SHARE)) if told else None

    def level_of(
        self, midi: float, from_s: float, to_s: float, apart_from: tuple[float, ...]
    ) -> float | None:
        """Level in dB of a note's partials, those that others share left out; None if none is left."""
        first = round((from_s - self.start_s) * self.rate_hz)
        last = round((to_s - self.start_s) * self.rate_hz)
        part = np.asarray(self.samples[max(first, 0) : max(last, 0)], dtype=np.float64)
        if len(part) < 0.05 * self.rate_hz:
            return None
        spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), 4 * len(part))) / len(part)
        step = self.rate_hz / (4 * len(part))
        f0 = midi_to_hz(midi, self.heard.reference_hz)
        others = [midi_to_hz(other, self.heard.reference_hz) for other in apart_from]
        clear_hz = _CLEAR_LOBES * self.rate_hz / len(part)
        total, used = 0.0, 0
        for number in range(1, _PARTIALS + 1):
            hz = number * f0
            bound = max(_CLEAR_OF * hz, clear_hz)
            near = any(abs(hz - max(round(hz / other), 1) * other) < bound for other in others)
            if near or hz > 0.45 * self.rate_hz:
                continue
            low, high = int(hz * (1 - _PARTIAL_WIDTH) / step), int(hz * (1 + _PARTIAL_WIDTH) / step) + 1
            around = spectrum[int(hz * (1 - _AROUND) / step) : int(hz * (1 + _AROUND) / step) + 1]
            peak = float(spectrum[low:high].max())
            total += peak**2 if peak > _STANDS_OUT * float(np.median(around)) else 0.0
            used += 1
        return 10.0 * np.log10(total + 1e-12) if used >= 1 else None
