"""The truth beside a rendered take, with the same keys as a draft document."""

from __future__ import annotations

from typing import Any

from transcriber.records.line import LineNote, Performance, PlayedNote
from transcriber.records.written import Meter, WrittenNote
from transcriber.synthesis.line_check import has
from transcriber.synthesis.line_file import technique_to_dict

TRUTH_FORMAT_VERSION = 1


def truth_document(performance: Performance, reference_hz: float = 440.0) -> dict[str, Any]:
    """Write a performance as a document with the keys of a draft.

    Parameters
    ----------
    performance : Performance
    reference_hz : float
        Frequency of MIDI 69 on the guitar that sounded.

    Returns
    -------
    dict
        `format_version`, `title`, `instrument`, `timing` (with `first_beat`: beats from beat 1 of bar 1 of
        ``beats_s[0]``) and `notes`. Times are rounded to 0.1 ms, and every value is what was really
        played: `tempo_bpm` is the mean of the take, a bend that came out flat says so.
    """
    line = performance.line
    return {
        "format_version": TRUTH_FORMAT_VERSION,
        "title": line.title,
        "instrument": {
            "name": line.instrument.name,
            "tuning_midi": list(line.instrument.tuning_midi),
            "capo": line.instrument.capo,
            "frets": line.instrument.frets,
            "reference_hz": round(reference_hz, 3),
        },
        "timing": {
            "tempo_bpm": round(played_tempo_bpm(performance), 2),
            "meter": str(line.meter),
            "swing": line.swing,
            "beats_s": [round(beat, 4) for beat in performance.beats_s],
            "first_beat": performance.first_beat,
        },
        "notes": [
            _note_entry(index, written, played, line.meter)
            for index, (written, played) in enumerate(zip(line.notes, performance.notes, strict=True))
        ],
    }


def played_tempo_bpm(performance: Performance) -> float:
    """Mean tempo of a performance in beats that people tap, a minute."""
    beats = performance.beats_s
    mean_beat_s = (beats[-1] - beats[0]) / (len(beats) - 1)
    return 60.0 / mean_beat_s / performance.line.meter.tap


def _note_entry(index: int, written: LineNote, played: PlayedNote, meter: Meter) -> dict[str, Any]:
    place = WrittenNote(written.start, written.length, confidence=1.0)
    return {
        "id": index + 1,
        "onset_s": round(played.onset_s, 4),
        "end_s": round(played.end_s, 4),
        "pitch_midi": None if has(written, "dead_note") else played.pitch_midi,
        "string": played.string,
        "fret": played.fret,
        "finger": None,
        "bar": place.bar(meter),
        "beat": str(place.beat(meter)),
        "length": str(written.length),
        "voice": 1,
        "velocity": played.velocity,
        "techniques": [technique_to_dict(technique, with_times=True) for technique in played.techniques],
    }
