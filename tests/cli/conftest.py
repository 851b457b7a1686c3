"""Stand-ins for the stages, so that the command line can be tested without listening."""

from fractions import Fraction

import numpy as np
import pytest
import soundfile

from transcriber.draft import MadeBy, assemble_draft
from transcriber.records.heard import Heard, HeardNote, PitchTrack
from transcriber.records.placed import Instrument, Place, Placed
from transcriber.records.problem import Problem
from transcriber.records.take import Take
from transcriber.records.written import Meter, Written, WrittenNote


def _array(*values):
    array = np.array(values, dtype=np.float64)
    array.flags.writeable = False
    return array


def heard_notes(pitches=(60, 62, 64, 65), sure=(0.99, 0.3, 0.99, 0.95)):
    return tuple(
        HeardNote(
            onset_s=0.5 * i,
            end_s=0.5 * i + 0.4,
            pitch_midi=pitch,
            velocity=90,
            techniques=(),
            contour_times_s=_array(0.5 * i, 0.5 * i + 0.01),
            contour_cents=_array(0.0, 1.0),
            pitch_confidence=certainty,
            onset_confidence=1.0,
            technique_confidence=1.0,
        )
        for i, (pitch, certainty) in enumerate(zip(pitches, sure, strict=True))
    )


def heard(notes=None):
    track = PitchTrack(_array(0.0), _array(220.0), _array(220.0), _array(1.0), _array(-20.0))
    return Heard(heard_notes() if notes is None else notes, 440.0, track)


def written(count=4, meter=None):
    notes = tuple(WrittenNote(Fraction(i), Fraction(1), 0.99) for i in range(count))
    return Written(notes, meter or Meter(4, 4), 120.0, tuple(0.5 * i for i in range(count + 1)), 0)


def placed(count=4):
    return Placed(tuple(Place(3, pitch - 55, None, 0.99) for pitch in (60, 62, 64, 65)[:count]))


def take(name="line.wav", problems=()):
    samples = np.zeros(44100, dtype=np.float32)
    samples.flags.writeable = False
    return Take(samples, 22050, 0.0, name, "0" * 64, 44100, 2.0, problems)


@pytest.fixture
def draft():
    """A draft of four notes, the second one unsure, with a problem of the take."""
    problem = Problem("clipping", "The recording is clipped from 1.0 to 1.2 s.", 1.0, 1.2)
    instrument = Instrument("standard", (64, 59, 55, 50, 45, 40), frets=22)
    made_by = MadeBy("0", {}, "0" * 64)
    return assemble_draft(take(problems=(problem,)), heard(), written(), placed(), instrument, made_by)


@pytest.fixture
def stage_records():
    """What each stage makes of a line of four notes."""
    return {
        "read_take": take(),
        "listen": heard(),
        "write_rhythm": written(),
        "place_phrases": (placed(), ()),
    }


@pytest.fixture
def stub_stages(monkeypatch, draft):
    """Replace drafting; returns the list of calls. A take whose name holds 'bad' fails."""
    calls = []

    def stand_in(path, settings=None, progress=None):
        from transcriber.errors import AudioError, NoNotesError

        calls.append((str(path), settings))
        if progress:
            progress("listening")
        if "bad" in str(path):
            raise AudioError(f"'{path}' is empty (0 bytes); record or copy it again")
        if "mute" in str(path):
            raise NoNotesError(f"no notes were found in '{path}'")
        if "crash" in str(path):
            raise ZeroDivisionError("division by zero")
        if "stop" in str(path):
            raise KeyboardInterrupt
        return draft

    monkeypatch.setattr("transcriber.drafting.draft_take", stand_in)
    return calls


@pytest.fixture
def recording(tmp_path):
    """Two seconds of plucked tones."""
    time = np.arange(2 * 22050) / 22050
    since = time % 0.5
    sound = 0.4 * np.exp(-3 * since) * np.sin(2 * np.pi * 220 * since)
    path = tmp_path / "line.wav"
    soundfile.write(path, sound, 22050)
    return path
