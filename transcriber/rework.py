"""What a page for correcting a draft asks of the stages: a draft as sound, parts of the take, its bars.

Like `drafting` this calls stages; it starts from a draft and the sound of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import TYPE_CHECKING, Any

from transcriber.errors import AudioError

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    from transcriber.draft import Draft, DraftNote
    from transcriber.export.score import Score
    from transcriber.records.heard import HeardNote
    from transcriber.records.placed import Place
    from transcriber.records.recording import WholeRecording
    from transcriber.records.written import Meter, Written

    FloatArray = npt.NDArray[np.float32]

SOUND_RATE_HZ = 44100
# Peak of a rendered draft: well below the bound of -1 dB, as takes are seldom louder.
SOUND_PEAK_DB = -6.0
# A grace sounds before the place it is written at.
_BEFORE_FIRST_S = 0.2
_ORPHAN_GRACE = Fraction(1, 4)


def written_score(draft: Draft) -> Score:
    """Spell a draft in bars.

    Raises
    ------
    DraftError
        If a position or length cannot be written.
    """
    from transcriber.export.score import score_of

    return score_of(draft)


def draft_sound(
    draft: Draft,
    start_s: float = 0.0,
    end_s: float | None = None,
    between: Callable[[], None] | None = None,
) -> FloatArray:
    """Play a draft as it is written, to the beats of the take.

    Parameters
    ----------
    draft : Draft
    start_s, end_s : float or None
        The part of the take's time that is wanted, None for the end of the take. Only notes that begin
        in it are played.
    between : callable, optional
        Called between notes; what it raises ends the work.

    Returns
    -------
    ndarray of float32, shape (n,)
        Mono at `SOUND_RATE_HZ`, its first sample at `start_s` of the take, peak at `SOUND_PEAK_DB`. Silence
        if no note begins there. What no player could play is left out.
    """
    import numpy as np

    from transcriber.records.line import Line
    from transcriber.synthesis import EXACT, Tone, perform, playable, render_performance

    end_s = draft.source.duration_s if end_s is None else end_s
    out = np.zeros(max(1, round((end_s - start_s) * SOUND_RATE_HZ)), dtype=np.float32)
    within = [
        note
        for note in draft.notes
        if start_s <= draft.timing.time_of(note.start(draft.meter)) < end_s and note.string is not None
    ]
    line = Line(
        title=draft.source.file,
        instrument=draft.instrument.fretted,
        meter=draft.meter,
        tempo_bpm=min(max(draft.timing.tempo_bpm, 20.0), 400.0),
        notes=tuple(_line_notes(draft, within)),
        swing=draft.timing.swing,
    )
    line = playable(line)
    if not line.notes:
        return out
    beats_s, first_beat = _beats(draft, line)
    # Rendered from just before its first note on: silence is not worth rendering.
    begin_s = max(start_s, draft.timing.time_of(line.notes[0].start) - _BEFORE_FIRST_S)
    performance = perform(line, EXACT, 0, (beats_s - begin_s, first_beat))
    tone = Tone(peak_db=SOUND_PEAK_DB, detune_cents=_detuned(draft.instrument.reference_hz))
    sound = render_performance(performance, tone, 0, SOUND_RATE_HZ, between)
    first = round((begin_s - start_s) * SOUND_RATE_HZ)
    part = sound[: len(out) - first]
    out[first : first + len(part)] = part
    return out


def open_take(path: Path, sha256: str) -> WholeRecording:
    """Read the recording that a draft was made from.

    Raises
    ------
    AudioError
        If it cannot be read or is another one.
    """
    from transcriber.audio import read_whole

    recording = read_whole(path)
    if recording.sha256 != sha256:
        raise AudioError(
            f"'{path}' is not the recording that the draft was made from; name that one with --take"
        )
    return recording


def wav_bytes(samples: Any, rate_hz: int) -> bytes:
    """Encode sound, full scale at 1.0, as 16-bit WAV; shape (n,) or (n, channels)."""
    return _encoded(samples, rate_hz, "WAV", "PCM_16")


def compressed_bytes(samples: Any, rate_hz: int) -> tuple[bytes, str]:
    """Encode sound small; return the bytes and their media type."""
    return _encoded(samples, rate_hz, "OGG", "VORBIS"), "audio/ogg"


def _encoded(samples: Any, rate_hz: int, container: str, coding: str) -> bytes:
    import io

    import numpy as np
    import soundfile

    buffer = io.BytesIO()
    soundfile.write(buffer, np.clip(samples, -1.0, 1.0), rate_hz, format=container, subtype=coding)
    return buffer.getvalue()


def _line_notes(draft: Draft, notes: list[DraftNote]) -> list[Any]:
    """Written notes in playing order, graces before what they decorate, none beginning with another."""
    from transcriber.records.line import LineNote

    ordered = sorted(notes, key=lambda note: (note.start(draft.meter), not note.is_grace, note.onset_s))
    made: list[LineNote] = []
    for index, note in enumerate(ordered):
        start, length = note.start(draft.meter), note.length
        follows = ordered[index + 1].start(draft.meter) == start if index + 1 < len(ordered) else False
        techniques = note.techniques
        if note.is_grace and not follows:
            # Nothing is left that it could decorate.
            length, techniques = _ORPHAN_GRACE, tuple(one for one in techniques if one.kind != "grace")
        if made and made[-1].start == start and made[-1].length > 0:
            continue
        techniques = tuple(replace(one, start_s=None, end_s=None) for one in techniques)
        made.append(LineNote(start, length, note.string or 0, note.fret or 0, note.velocity, techniques))
    return made


def _beats(draft: Draft, line: Any) -> tuple[Any, int]:
    """Times of all denominator beats that a line needs, from the take's own."""
    import numpy as np

    first = math.floor(line.notes[0].start) - 1
    last = max(math.ceil(note.start + note.length) for note in line.notes) + 2
    straight = replace(draft.timing, swing=None)
    return np.array([straight.time_of(Fraction(beat)) for beat in range(first, last)]), first


def _detuned(reference_hz: float) -> float:
    return min(max(1200.0 * math.log2(reference_hz / 440.0), -100.0), 100.0)


def refingered(
    draft: Draft, pins: Mapping[str, tuple[int, int]], notes: Sequence[DraftNote]
) -> dict[str, Place]:
    """Finger a run of notes around those whose place is told.

    Parameters
    ----------
    draft : Draft
    pins : mapping of str to (int, int)
        String and fret by id.
    notes : sequence of DraftNote
        The run, in order of onset. Those whose place a person has settled stay where they are.

    Returns
    -------
    dict of str to Place
        By id, for the notes that can be played.

    Raises
    ------
    UsageError
        If a pin does not sound its note.
    """
    from transcriber.fretboard import place_notes

    told = {}
    for index, note in enumerate(notes):
        if note.id in pins:
            told[index] = pins[note.id]
        elif note.confidence.place >= 1.0 and note.string is not None and note.fret is not None:
            told[index] = (note.string, note.fret)
    heard = [_heard(note) for note in notes]
    placed = place_notes(heard, draft.instrument.fretted, None, told)
    return {note.id: place for note, place in zip(notes, placed.places, strict=True) if place is not None}


def retimed(draft: Draft, tempo_bpm: float | None, meter: Meter) -> Written:
    """Write the rhythm of a draft anew from its onsets.

    Parameters
    ----------
    draft : Draft
    tempo_bpm : float or None
        None to find it.
    meter : Meter

    Returns
    -------
    Written
        One entry for each note of the draft, in order.
    """
    from transcriber.draft.retime import heard_again
    from transcriber.notation import write_rhythm
    from transcriber.records.told import Told

    tempo = None if tempo_bpm is None else (tempo_bpm, tempo_bpm)
    written = write_rhythm(heard_again(draft), Told(tempo_bpm=tempo, meter=meter))
    line = [note.onset_s for note in draft.notes if note.voice == 1]
    # What sounds with the line is written where the line's nearest note is.
    nearest = [min(range(len(line)), key=lambda at: abs(line[at] - note.onset_s)) for note in draft.notes]
    return replace(written, notes=tuple(written.notes[at] for at in nearest))


def with_clicks(sound: FloatArray, rate_hz: int, draft: Draft, start_s: float) -> FloatArray:
    """Lay a click on each tapped beat under a sound, higher at the bar lines.

    Parameters
    ----------
    sound : ndarray of float32, shape (n,)
        Mono; its first sample stands at `start_s` of the take.
    rate_hz : int
    draft : Draft
        Its beats are clicked.
    start_s : float
    """
    from transcriber.practice.loops import click

    out = sound.copy()
    for index, time_s in enumerate(draft.timing.beats_s):
        beat = draft.timing.first_beat + index
        first = round((time_s - start_s) * rate_hz)
        if beat % draft.meter.tap or not 0 <= first < len(out):
            continue
        part = click(rate_hz, beat % draft.meter.beats == 0)[: len(out) - first]
        out[first : first + len(part)] += part
    return out


def _heard(note: DraftNote) -> HeardNote:
    """The note as listening gives it: what fingering and rhythm go by."""
    import numpy as np

    from transcriber.records.heard import HeardNote

    cents = [math.nan if value is None else value for value in note.contour.cents]
    return HeardNote(
        onset_s=note.onset_s,
        end_s=note.end_s,
        pitch_midi=note.pitch_midi or 0,
        velocity=note.velocity,
        techniques=note.techniques,
        contour_times_s=np.array(note.contour.times_s),
        contour_cents=np.array(cents),
        pitch_confidence=note.confidence.pitch,
        onset_confidence=note.confidence.onset,
        technique_confidence=note.confidence.technique,
    )


def resampled(sound: FloatArray, from_hz: int, to_hz: int) -> FloatArray:
    """Bring sound to another sample rate."""
    import numpy as np
    import soxr

    return sound if from_hz == to_hz else np.asarray(soxr.resample(sound, from_hz, to_hz), dtype=np.float32)
