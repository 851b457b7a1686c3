"""What a synthesiser makes of the MIDI: its pitch follows the draft's contour, its onsets the draft's."""

from __future__ import annotations

from dataclasses import replace

import export_drafts as lines
import numpy as np
import pytest
from rendering import RATE, cents_off, onset_near, render

from transcriber.export.midi import MidiSettings, midi_bytes

SPAN_S = 0.05
SETTLED_S = 0.06
"""Left out after an onset: the bank's own attack has no pitch yet, and the note before may ring."""


def bends_line():
    """Bends of three heights with releases, a pre-bend, and vibrato, each note followed by a rest."""
    full = lines.tech("bend", start_s=0.2, end_s=0.4, semitones=2.0)
    half = lines.tech("bend", start_s=0.2, end_s=0.4, semitones=1.0)
    wide = lines.tech("bend", start_s=0.2, end_s=0.5, semitones=3.0)
    back = lines.tech("release", start_s=0.6, end_s=0.8, semitones=0.0)
    shake = lines.tech("vibrato", start_s=0.3, rate_hz=5.0, depth_semitones=0.5)
    ready = lines.tech("pre_bend", semitones=2.0)
    given = [(full, back), (half, shake), (wide,), (ready, back), (shake,), ()]
    notes = [(2 * place, "3/2", 2, 8, *techniques) for place, techniques in enumerate(given)]
    return lines.build(notes, tempo_bpm=100.0, lead_s=0.4)


def expected_pitch(note, times):
    heights = [lines.height(note.techniques, time) for time in times[:: RATE // 1000]]
    return note.pitch_midi + np.repeat(heights, RATE // 1000)[: len(times)]


CHOICES = (
    MidiSettings(),
    MidiSettings(channels="string"),
    MidiSettings(channels="mpe"),
    MidiSettings(slurs="joined"),
)


@pytest.mark.parametrize(
    "chosen",
    CHOICES,
    ids=lambda chosen: f"{chosen.channels}-{chosen.slurs}",
)
def test_pitch_follows_the_contour_within_10_cents(tmp_path, chosen) -> None:
    draft = bends_line()
    samples = render(midi_bytes(draft, chosen), tmp_path)
    # How far the bank itself is out of tune on this pitch: its plain note, the last of the line.
    plain = draft.notes[-1]
    worst = []
    for note in (plain, *draft.notes):
        times = np.arange(round((note.onset_s + SETTLED_S) * RATE), round((note.end_s - 0.02) * RATE)) / RATE
        off = cents_off(samples, times, expected_pitch(note, times), SPAN_S)
        if note is plain and not worst:
            bank = float(np.median(off))
        worst.append(float(np.max(np.abs(off - bank))))
    print(f"bank {bank:.1f} cents, farthest from the contour {max(worst[1:]):.1f} cents")
    assert abs(bank) < 10
    assert max(worst[1:]) < 10, worst


def test_onsets_within_10_ms(tmp_path) -> None:
    shifts = [0.0, 0.013, -0.021, 0.008, -0.004, 0.03]
    draft = bends_line()
    draft = replace(
        draft,
        notes=tuple(
            replace(note, onset_s=note.onset_s + shift)
            for note, shift in zip(draft.notes, shifts, strict=True)
        ),
    )
    samples = render(midi_bytes(draft), tmp_path)
    errors = [onset_near(samples, note.onset_s) - note.onset_s for note in draft.notes]
    print("onsets late by", [f"{1000 * error:.1f} ms" for error in errors])
    assert max(map(abs, errors)) < 0.010, errors


def test_bends_on_their_own_channel_leave_a_ringing_string_alone(tmp_path) -> None:
    bend = lines.tech("bend", start_s=0.3, end_s=0.5, semitones=2.0)
    draft = lines.build([(0, "4", 4, 5), (1, "2", 1, 8, bend)], tempo_bpm=100.0)
    ringing = draft.notes[0]
    times = np.arange(round((ringing.onset_s + 0.8) * RATE), round((ringing.end_s - 0.1) * RATE)) / RATE
    off = {}
    for channels in ("one", "string"):
        samples = render(midi_bytes(draft, MidiSettings(channels=channels)), tmp_path)
        off[channels] = cents_off(samples, times, np.full(len(times), float(ringing.pitch_midi)), 0.1)
    # The bent note's own partials turn in the window too, hence the median.
    assert abs(float(np.median(off["string"]))) < 10
    assert abs(float(np.median(off["one"]))) > 50
