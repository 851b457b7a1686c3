"""Clicks of a count-in or of a metronome that sounds through a take; they are told apart from notes.

A click is a sound that rises and is gone within some hundredths of a second, and it comes back at even times.
Unasked, only what is as even as a machine is believed; where the player says that there are clicks, sticks or
taps by hand will do, and a metronome that notes cover is looked for by its period (`metronome`).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import signal

from transcriber.listening.click_bands import FLOOR_DB, HOP, WINDOW, band_levels
from transcriber.listening.metronome import find_metronome
from transcriber.records.heard import Heard, HeardNote
from transcriber.records.take import Take

FloatArray = npt.NDArray[np.float64]

_RISE_DB, _MOST_RISE_DB, _RISE_S = 4.0, 30.0, 0.012  # mean over the bands
_OWN_DB = 8.0  # a band that rises so much belongs to the sound
_GONE_SHARE, _FALL_S = 0.65, 0.09  # a damped note keeps more than the rest of its rise
_TEMPO_BPM = (40.0, 220.0)
_SETS_IN, _STILL_S = 0.3, 0.002
_MOST_MISSING = 1
_EVEN_S, _PERIOD_DOUBT = 0.006, 0.0015  # seconds; more for every beat that a period is carried on
_FEWEST_THROUGH, _MOST_PAIRS = 8, 400
_COVERED_S = 0.05
_LIKE = 0.8  # cosine between the spectra of two clicks of one sound
_NOTE_NEAR_S, _NOTE_LASTS_S = 0.06, 0.12
_QUIET_DB = 24.0  # below the take's loudest: nothing but the click sounds there


@dataclass(frozen=True)
class ClickSettings:
    """How strictly clicks are told.

    Attributes
    ----------
    fewest : int
        Least number.
    uneven_s : float
        How far one may be off an even row, seconds.
    share_through : float
        Least share of a metronome's clicks at which a sound must begin.
    """

    fewest: int
    uneven_s: float
    share_through: float


UNASKED = ClickSettings(fewest=3, uneven_s=0.006, share_through=0.85)
TOLD = ClickSettings(fewest=2, uneven_s=0.03, share_through=0.6)


@dataclass(frozen=True)
class _Event:
    time_s: float
    spectrum: FloatArray
    quiet: bool
    short: bool


def hear_clicks(take: Take, heard: Heard, count_in: int | None = None, through: bool = False) -> Heard:
    """Add the clicks of a take to what was heard, and take out the notes that were clicks.

    Parameters
    ----------
    take : Take
    heard : Heard
    count_in : int or None
        How many clicks lead to the line, if the player says so.
    through : bool
        Whether the player says that a metronome sounds through the take.
    """
    settings = TOLD if through or count_in is not None else UNASKED
    clicks = find_metronome(take.samples, take.sample_rate_hz) if through else np.zeros(0)
    if not len(clicks):
        clicks = find_clicks(take.samples, take.sample_rate_hz, settings, count_in)
    elif count_in is not None:
        clicks = _from_count_in(clicks, find_clicks(take.samples, take.sample_rate_hz, settings, count_in))
    if not len(clicks):
        return heard
    clicks = clicks + take.start_s
    notes = tuple(note for note in heard.notes if not _is_click(note, heard.notes, clicks))
    return replace(heard, notes=notes, clicks_s=tuple(round(float(time), 4) for time in clicks))


def _from_count_in(clicks: FloatArray, counted: FloatArray) -> FloatArray:
    """A metronome from the first click of the count-in on: its row reaches back to where none sounds yet."""
    if not len(counted):
        return clicks
    return np.asarray(clicks[clicks > counted[0] - float(np.median(np.diff(clicks))) / 2])


def find_clicks(
    samples: npt.NDArray[np.float32], rate_hz: int, settings: ClickSettings, count: int | None = None
) -> FloatArray:
    """Find the longest even row of clicks.

    Parameters
    ----------
    samples : ndarray, shape (n,)
    rate_hz : int
    settings : ClickSettings
    count : int or None
        How many are looked for; the first so many even ones are given.

    Returns
    -------
    ndarray of float64
        Times in seconds from the first sample, ascending; empty where there is no such row.
    """
    every = _events(samples, rate_hz)
    through = _through(every, settings)
    if count is None and len(through):
        return through
    events = [event for event in every if event.short]
    rows = [_row(events, first, second, settings) for first, second in _pairs(events)]
    if count is not None:
        rows = [row for row in rows if len(row) >= max(settings.fewest, count // 2)]
        first = min(rows, key=lambda row: (row[0].time_s, -len(row)), default=[])
        return _completed(first, count, np.array([event.time_s for event in every]))
    # Three could be chance, unless nothing else sounds yet.
    quiet = [all(event.quiet for event in row) for row in rows]
    rows = [row for row, still in zip(rows, quiet, strict=True) if len(row) >= settings.fewest + (not still)]
    best = max(rows, key=lambda row: (len(row), -row[0].time_s), default=[])
    return np.array([event.time_s for event in best])


def _through(events: list[_Event], settings: ClickSettings) -> FloatArray:
    """Times of a metronome that goes on through the line, where notes cover many of its clicks.

    Two short sounds give a period; it holds if sounds begin at most of the times it leads to, to some
    milliseconds, which no hand does.
    """
    times = np.array([event.time_s for event in events])
    short = [event for event in events if event.short]
    best = np.zeros(0)
    for first, second in _pairs(short)[:_MOST_PAIRS]:
        start, period = short[first].time_s, short[second].time_s - short[first].time_s
        for _ in range(3):  # each time the row reaches further than the period was known before
            numbers = np.arange(np.ceil((times[0] - start) / period), (times[-1] - start) / period + 0.5)
            due = start + numbers * period
            nearest = np.clip(np.searchsorted(times, due), 1, len(times) - 1)
            nearest = nearest - (due - times[nearest - 1] < times[nearest] - due)
            off = np.abs(times[nearest] - due)
            near = off <= _EVEN_S + _PERIOD_DOUBT * np.abs(numbers)
            if near.sum() < 3:
                break
            period, start = np.polyfit(numbers[near], times[nearest[near]], 1)
        exact = off <= _EVEN_S
        if exact.sum() >= _FEWEST_THROUGH and exact.mean() >= settings.share_through and len(due) > len(best):
            best = start + numbers * period
    return np.asarray(best)


def _completed(row: list[_Event], count: int, sounds_s: FloatArray) -> FloatArray:
    """The first so many of a row; where a note covers one, it is put where it is due."""
    times = np.array([event.time_s for event in row])
    if not len(times):
        return times
    numbers = np.rint((times - times[0]) / np.median(np.diff(times))).astype(int)
    due = times[0] + (times[-1] - times[0]) / numbers[-1] * np.arange(count)
    found = numbers < count
    due[numbers[found]] = times[found]
    covered = np.abs(due[:, None] - sounds_s[None, :]).min(axis=1) <= _COVERED_S
    return np.asarray(due if covered.all() else times[found])


def _events(samples: npt.NDArray[np.float32], rate_hz: int) -> list[_Event]:
    """Sounds that rise fast, with their spectra, and whether they are gone soon."""
    if len(samples) < 4 * WINDOW:
        return []
    bands = band_levels(samples, rate_hz)
    frame_s = HOP / rate_hz
    rise, fall = max(round(_RISE_S / frame_s), 1), round(_FALL_S / frame_s)
    level = 10 * np.log10((10 ** (bands / 10)).sum(axis=1))
    before = np.concatenate([np.repeat(bands[:1], rise, axis=0), bands[:-rise]])
    jump = np.clip(bands - before, 0.0, _MOST_RISE_DB).mean(axis=1)
    peaks, _ = signal.find_peaks(np.pad(jump, 1), height=_RISE_DB, distance=max(fall // 3, 1))
    events = []
    for top in peaks - 1:
        if top + fall >= len(level):
            break
        early = max(top - 2 * rise, 0)
        pre = np.maximum(bands[early : max(top - rise, 1)].mean(axis=0), FLOOR_DB)
        high = bands[top : top + rise].max(axis=0)
        risen = high - pre
        own = risen > _OWN_DB
        if not own.any():
            continue
        fallen = np.minimum(high - bands[top + fall - 4 : top + fall + 1].max(axis=0), risen)
        spectrum = np.sqrt(np.maximum(10 ** (high / 10) - 10 ** (pre / 10), 0.0)) * own
        size = float(np.linalg.norm(spectrum))
        events.append(
            _Event(
                _sharp_time(samples, rate_hz, top * HOP),
                spectrum / size,
                quiet=bool(level[early] < level.max() - _QUIET_DB),
                short=bool(fallen[own].sum() >= _GONE_SHARE * risen[own].sum()),
            )
        )
    return events


def _sharp_time(samples: npt.NDArray[np.float32], rate_hz: int, near: int) -> float:
    """Where the sound at a sample sets in: before it, it stays below a part of its peak for a moment."""
    low = max(near - WINDOW // 2, 0)
    part = np.abs(np.diff(samples[low : near + WINDOW].astype(np.float64)))
    quiet = round(_STILL_S * rate_hz)
    peak = int(np.argmax(part))
    begin = peak
    while begin > 0:
        loud = np.flatnonzero(part[max(begin - quiet, 0) : begin] >= _SETS_IN * part[peak])
        if not len(loud):
            break
        begin = max(begin - quiet, 0) + int(loud[0])
    return float(low + begin) / rate_hz


def _pairs(events: list[_Event]) -> list[tuple[int, int]]:
    """Pairs of events that could be neighbours in a row."""
    longest, shortest = 60.0 / _TEMPO_BPM[0], 60.0 / _TEMPO_BPM[1]
    found = []
    for i, first in enumerate(events):
        for j in range(i + 1, len(events)):
            apart = events[j].time_s - first.time_s
            if apart > longest:
                break
            if apart >= shortest and _alike(first, events[j]):
                found.append((i, j))
    return found


def _alike(one: _Event, other: _Event) -> bool:
    """Whether two events may be clicks of one row; in silence an accented click may sound otherwise."""
    return bool(one.spectrum @ other.spectrum >= _LIKE) or (one.quiet and other.quiet)


def _row(events: list[_Event], first: int, second: int, settings: ClickSettings) -> list[_Event]:
    """Follow an even row on from two events."""
    row = [events[first], events[second]]
    period = row[1].time_s - row[0].time_s
    steps = 1
    missing = 0
    for event in events[second + 1 :]:
        due = row[-1].time_s + (missing + 1) * period
        if event.time_s < due - settings.uneven_s:
            continue
        while event.time_s > due + settings.uneven_s and missing <= _MOST_MISSING:
            missing += 1
            due += period
        if missing > _MOST_MISSING:
            break
        if abs(event.time_s - due) <= settings.uneven_s and _alike(event, row[-1]):
            steps += missing + 1
            row.append(event)
            period = (row[-1].time_s - row[0].time_s) / steps
            missing = 0
    return row


def _is_click(note: HeardNote, notes: tuple[HeardNote, ...], clicks: FloatArray) -> bool:
    """A short note at a click: before the line begins, or one of several of its pitch that were clicks."""
    here = [one for one in notes if np.abs(clicks - one.onset_s).min() <= _NOTE_NEAR_S]
    if note not in here or note.end_s - note.onset_s > _NOTE_LASTS_S:
        return False
    line_begins = min((one.onset_s for one in notes if one not in here), default=np.inf)
    short = [one for one in here if one.end_s - one.onset_s <= _NOTE_LASTS_S]
    return note.onset_s < line_begins or sum(one.pitch_midi == note.pitch_midi for one in short) >= 3
