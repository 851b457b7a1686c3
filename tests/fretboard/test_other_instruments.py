"""Other instruments from sound to place: the pitch range follows them, down to the lowest string."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import pytest
import soundfile as sf

from transcriber.drafting import draft_take
from transcriber.errors import UsageError
from transcriber.fretboard import read_instrument
from transcriber.instrument import choose_instrument
from transcriber.records.line import Line, LineNote
from transcriber.records.written import Meter
from transcriber.settings import DraftSettings
from transcriber.synthesis import STYLES, TONES, perform, render_performance

RATE_HZ = 44100
Place = tuple[int, int]


def played(path: Path, instrument: str, places: Sequence[Place]) -> Path:
    """Play a line of even notes on a built-in instrument."""
    notes = tuple(
        LineNote(Fraction(beat), Fraction(9, 10), string, fret) for beat, (string, fret) in enumerate(places)
    )
    line = Line("walk", read_instrument(instrument), Meter(4, 4), 100.0, notes)
    sf.write(path, render_performance(perform(line, STYLES["steady"], 1), TONES["clean"], 1), RATE_HZ)
    return path


@pytest.mark.parametrize(
    ("instrument", "position", "places"),
    [
        ("bass", 0, [(4, 0), (4, 3), (3, 0), (3, 2), (4, 3), (4, 0), (4, 1), (3, 3), (2, 2), (1, 2)]),
        ("bass", 3, [(4, 5), (3, 3), (3, 5), (2, 3), (2, 5), (3, 5), (3, 3), (4, 5), (4, 3)]),
        ("seven_string", 0, [(7, 0), (7, 3), (6, 0), (6, 2), (7, 3), (7, 0), (5, 2), (4, 2)]),
        ("baritone", 0, [(6, 0), (6, 3), (5, 0), (5, 2), (4, 2), (3, 2), (2, 3), (1, 3)]),
    ],
)
def test_a_line_on_another_instrument_is_placed_as_played(
    tmp_path: Path, instrument: str, position: int, places: list[Place]
) -> None:
    sound = played(tmp_path / "walk.wav", instrument, places)
    draft = draft_take(sound, DraftSettings(tempo_bpm=100.0, instrument=instrument, position=position))
    assert [(note.string, note.fret) for note in draft.notes] == places


def test_the_neck_is_as_long_as_told() -> None:
    """Six-string models come with up to 24 frets (common practice); fewer can be told."""
    assert choose_instrument(DraftSettings()).places(88) == ((1, 24),)
    short = choose_instrument(DraftSettings(frets=21, capo=2))
    assert (short.frets, short.highest_fret) == (21, 19)
    assert short.places(86) == ()
    for settings in (
        DraftSettings(frets=12, position=13),
        DraftSettings(frets=12, capo=12),
    ):
        with pytest.raises(UsageError, match="nearest that works"):
            choose_instrument(settings)
    with pytest.raises(UsageError, match="frets 40 is out of 5 to 36; the nearest that works is 36"):
        DraftSettings(frets=40)
