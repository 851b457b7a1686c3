"""A moment seen close up: how loud it was, where the sound was struck, and the pitch against the frets."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from transcriber.draft import Draft, DraftNote

if TYPE_CHECKING:
    from transcriber.records.recording import WholeRecording

_STEP_S = 0.005
_WINDOW_S = 0.01
_BEFORE_S, _AFTER_S = 0.2, 0.25
_LONGEST_S = 6.0
_FLOOR_DB = -100.0
# A stroke of the pick is bright: the level of the high frequencies (the second difference of the samples
# raises them by 12 dB an octave) rises so far within so many steps, and to near the loudest of the moment.
_STROKE_DB = 8.0
_RISE_STEPS = 3
_BELOW_LOUDEST_DB = 18.0
_APART_S = 0.05


def closeup_of(draft: Draft, notes: Sequence[DraftNote], recording: WholeRecording | None) -> dict[str, Any]:
    """Describe a moment.

    Parameters
    ----------
    draft : Draft
    notes : sequence of DraftNote
        What is asked about, in order.
    recording : WholeRecording or None
        None leaves level and strokes out.

    Returns
    -------
    dict
        `start_s`, `end_s`; `level` with `times_s` and `db` (0 is full scale); `strokes_s`, where the level
        jumps; `traces`, one for each note that sounds, with `times_s` and `midi` as measured, the note's
        fretted pitch `at_midi` and its onset; `at_midi`, the pitch at the place of the first note asked
        about, also where it has none of its own, and None without a place.
    """
    start_s = max(0.0, notes[0].onset_s - _BEFORE_S)
    end_s = min(max(note.end_s for note in notes) + _AFTER_S, start_s + _LONGEST_S)
    traces = []
    for note in draft.notes:
        if note.end_s < start_s or note.onset_s > end_s or note.pitch_midi is None:
            continue
        traces.append(
            {
                "id": note.id,
                "onset_s": note.onset_s,
                "end_s": note.end_s,
                "at_midi": note.pitch_midi,
                "times_s": list(note.contour.times_s),
                "midi": [
                    None if cents is None else round(note.pitch_midi + cents / 100.0, 3)
                    for cents in note.contour.cents
                ],
            }
        )
    first = notes[0]
    string = first.string
    open_midi = None if string is None else draft.instrument.fretted.open_midi(string)
    at_midi = first.pitch_midi
    if at_midi is None and open_midi is not None and first.fret is not None:
        at_midi = open_midi + first.fret
    return {
        "start_s": start_s,
        "end_s": end_s,
        "open_midi": open_midi,
        "at_midi": at_midi,
        "string": string,
        "traces": traces,
        **_level(recording, start_s, end_s),
    }


def _level(recording: WholeRecording | None, start_s: float, end_s: float) -> dict[str, Any]:
    if recording is None:
        return {"level": None, "strokes_s": []}
    rate = recording.sample_rate_hz
    sound = recording.part(start_s - _WINDOW_S / 2, end_s + _WINDOW_S / 2).astype(np.float64)
    step, window = max(1, round(_STEP_S * rate)), max(1, round(_WINDOW_S * rate))
    first = np.arange(0, max(1, len(sound) - window), step)
    db = _decibels(sound, first, window)
    times = start_s + first / rate
    bright = _decibels(np.diff(sound, n=2, prepend=sound[:1], append=sound[-1:]), first, window)
    rise = np.zeros(len(bright))
    rise[_RISE_STEPS:] = bright[_RISE_STEPS:] - bright[:-_RISE_STEPS]
    strokes: list[float] = []
    for index in np.flatnonzero((rise >= _STROKE_DB) & (bright >= bright.max() - _BELOW_LOUDEST_DB)):
        if not strokes or times[index] - strokes[-1] > _APART_S:
            strokes.append(float(times[index]))
    return {
        "level": {
            "times_s": [round(float(time), 4) for time in times],
            "db": [round(float(value), 1) for value in db],
        },
        "strokes_s": [round(time, 3) for time in strokes],
    }


def _decibels(sound: np.ndarray, first: np.ndarray, window: int) -> np.ndarray:
    """Level of windows that begin at some samples, dB below full scale."""
    power = np.concatenate([[0.0], np.cumsum(sound**2)])
    mean = (power[np.minimum(first + window, len(sound))] - power[first]) / window
    level: np.ndarray = np.maximum(10.0 * np.log10(np.maximum(mean, 1e-12)), _FLOOR_DB)
    return level
