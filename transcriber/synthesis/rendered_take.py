"""From a line file to a sound file and its truth."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from transcriber.errors import UsageError
from transcriber.synthesis.line_file import read_line_file
from transcriber.synthesis.performance import perform
from transcriber.synthesis.render import SAMPLE_RATE_HZ, render_performance
from transcriber.synthesis.style import EXACT, PlayingStyle
from transcriber.synthesis.tone import Tone
from transcriber.synthesis.truth import truth_document

STYLES: dict[str, PlayingStyle] = {
    "exact": EXACT,
    "steady": PlayingStyle(),
    "loose": PlayingStyle(timing_sd_s=0.014, tempo_drift=0.015, lag_s=0.012, articulation=0.9),
    "beginner": PlayingStyle(
        timing_sd_s=0.024,
        tempo_drift=0.025,
        lag_s=0.015,
        articulation=0.82,
        bend_s=(0.2, 0.4),
        velocity_sd=12.0,
        intonation_cents=6.0,
        bend_error_cents=18.0,
    ),
}
TONES: dict[str, Tone] = {
    "clean": Tone(),
    "warm": Tone(pick_position=0.24, pickup_position=0.24, brightness=0.2, pick_noise_db=-34.0),
    "bright": Tone(pick_position=0.09, pickup_position=0.07, brightness=0.85),
    "edge": Tone(drive=0.3, brightness=0.6, room=0.2),
    "driven": Tone(drive=0.8, brightness=0.5, hum_db=-84.0, noise_db=-88.0, room=0.25),
}


@dataclass(frozen=True)
class RenderOptions:
    """How to render a line file.

    Attributes
    ----------
    seed : int
        At least 0; another seed is another take of the same line.
    style, tone : str or None
        Name in `STYLES`, `TONES`; None takes what the line file says.
    tempo_bpm : float or None
        Play at this tempo; None takes the line's own.
    """

    seed: int = 1
    style: str | None = None
    tone: str | None = None
    tempo_bpm: float | None = None


def render_line_file(path: str | Path, options: RenderOptions) -> tuple[bytes, bytes]:
    """Render a line file.

    Parameters
    ----------
    path : str or Path
        `NAME.line.json`.
    options : RenderOptions

    Returns
    -------
    flac : bytes
        FLAC, 16 bit, mono, 44.1 kHz.
    truth : bytes
        UTF-8 JSON of `truth_document`, one note to a row.

    Raises
    ------
    UsageError
        If an option is out of its bounds or the line cannot be played.
    TranscriberError
        If the file is not a line file.
    """
    if options.seed < 0:
        raise UsageError(f"seed is {options.seed}; give 0 or more")
    content = read_line_file(path)
    style = content.style if options.style is None else _named(STYLES, options.style, "style")
    tone = content.tone if options.tone is None else _named(TONES, options.tone, "tone")
    line = content.line
    if options.tempo_bpm is not None:
        line = replace(line, tempo_bpm=options.tempo_bpm)
    performance = perform(line, style, options.seed)
    sound = render_performance(performance, tone, options.seed)
    document = truth_document(performance, tone.reference_hz)
    return encode_flac(sound), truth_to_json(document).encode()


def encode_flac(sound: npt.NDArray[np.float32]) -> bytes:
    """Encode mono sound, full scale at 1.0, of the renderer's own rate, as 16-bit FLAC."""
    import soundfile

    whole = np.round(np.clip(sound, -1.0, 1.0) * 32767.0).astype(np.int16)
    buffer = io.BytesIO()
    soundfile.write(buffer, whole, SAMPLE_RATE_HZ, format="FLAC", subtype="PCM_16")
    return buffer.getvalue()


def truth_to_json(document: dict[str, Any]) -> str:
    """Write a truth document as text, one key and one note to a row."""
    head = [
        f"  {json.dumps(key)}: {json.dumps(value, ensure_ascii=False)},"
        for key, value in document.items()
        if key != "notes"
    ]
    notes = ",\n".join("    " + json.dumps(note) for note in document["notes"])
    return "\n".join(["{", *head, '  "notes": [', notes, "  ]", "}", ""])


def _named(table: dict[str, Any], name: str, what: str) -> Any:
    if name not in table:
        raise UsageError(f"{what} is '{name}'; give one of {', '.join(table)}")
    return table[name]
