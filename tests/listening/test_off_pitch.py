"""A note off every fret is still a note: out of tune, or a student's."""

from __future__ import annotations

import pytest

from tests.listening.sounds import GUITAR, Pluck, sound_of, take_of
from transcriber.listening import listen


@pytest.mark.parametrize("cents", [-48, -40, 40, 48, 52])
def test_a_clear_note_off_the_frets_is_kept(cents: float) -> None:
    line = [60.0, 62.0, 64 + cents / 100, 62.0, 60.0, 57.0]
    strokes = [Pluck((0.3 + 0.5 * i, 0.75 + 0.5 * i), (m, m)) for i, m in enumerate(line)]
    found = listen(take_of(sound_of(strokes, 3.6)), GUITAR)
    assert len(found.notes) == len(line)
    assert found.notes[2].onset_s == pytest.approx(1.3, abs=0.02)
    assert not {"chord", "unclear_pitch"} & {problem.code for problem in found.problems}
