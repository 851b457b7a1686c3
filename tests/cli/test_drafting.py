"""Drafting with stand-ins for the stages: what is handed to whom, and what ends a run."""

import json
from dataclasses import replace

import pytest

from transcriber import DraftSettings, Meter, NoNotesError, UsageError, draft_take
from transcriber.cli import run
from transcriber.draft import Correction, NoteMark, append_correction, journal_path, read_draft
from transcriber.instrument import choose_instrument
from transcriber.records.problem import Problem
from transcriber.records.told import Told


@pytest.fixture
def stages(monkeypatch, stage_records):
    """Each stage answers from `stage_records` and notes what it was given."""
    given = {}

    def stand_in(name):
        def answer(*words):
            given[name] = words
            return stage_records[name]

        return answer

    for home, name in (
        ("audio", "read_take"),
        ("listening", "listen"),
        ("notation", "write_rhythm"),
        ("fretboard", "place_phrases"),
    ):
        monkeypatch.setattr(f"transcriber.{home}.{name}", stand_in(name))
    return given


def test_each_stage_gets_what_the_stages_before_it_made(stages, stage_records):
    told = []
    settings = DraftSettings(tempo_bpm=120, meter=Meter(3, 4), position=5, start_s=1, end_s=2, capo=2)
    draft = draft_take("some/line.wav", settings, told.append)
    take, heard = stage_records["read_take"], stage_records["listen"]
    assert stages["read_take"] == ("some/line.wav", 1, 2)
    assert stages["listen"][0] is take
    assert stages["listen"][1].capo == 2
    assert stages["write_rhythm"] == (heard, Told(tempo_bpm=(120, 120), meter=Meter(3, 4)))
    beat_s = 60 / stage_records["write_rhythm"].tempo_bpm
    assert stages["place_phrases"] == (heard.notes, stages["listen"][1], 5, {}, beat_s, [(0, 4)])
    assert [note.pitch_midi for note in draft.notes] == [60, 62, 64, 65]
    assert len(told) == 6


def test_the_draft_tells_what_it_was_made_with(stages):
    draft = draft_take("line.wav", DraftSettings(meter=Meter(6, 8), tuning="drop d", chords="Am F"))
    assert draft.made_by.options["meter"] == "6/8"
    assert draft.made_by.options["tuning"] == "drop d"
    assert draft.made_by.options["chords"] == "Am F"
    assert len(draft.made_by.models_sha256) == 64
    assert draft.instrument.tuning_midi == (64, 59, 55, 50, 45, 38)


def test_a_take_without_notes_is_an_error_that_names_what_was_seen(stages, stage_records):
    quiet = Problem("low_level", "The recording is very quiet.")
    stage_records["listen"] = replace(stage_records["listen"], notes=())
    stage_records["read_take"] = replace(stage_records["read_take"], problems=(quiet,))
    with pytest.raises(NoNotesError) as caught:
        draft_take("line.wav")
    assert "'line.wav' from 0.0 to 2.0 s" in str(caught.value)
    assert "very quiet" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("settings", "tuning", "capo", "name"),
    [
        (DraftSettings(), (64, 59, 55, 50, 45, 40), 0, None),
        (DraftSettings(capo=3), (64, 59, 55, 50, 45, 40), 3, None),
        (DraftSettings(tuning="D A D G A D"), (62, 57, 55, 50, 45, 38), 0, "tuned D2 A2 D3 G3 A3 D4"),
        (DraftSettings(tuning="standard"), (64, 59, 55, 50, 45, 40), 0, None),
        (DraftSettings(instrument="bass"), (43, 38, 33, 28), 0, None),
    ],
)
def test_the_instrument_is_strung_as_told(settings, tuning, capo, name):
    instrument = choose_instrument(settings)
    assert (instrument.tuning_midi, instrument.capo) == (tuning, capo)
    assert name is None or instrument.name == name


def test_an_instrument_file_is_read(tmp_path):
    path = tmp_path / "mine.json"
    path.write_text(
        json.dumps(
            {"format_version": 1, "name": "mine", "tuning_midi": [64, 59, 55, 50, 45, 40], "frets": 19}
        )
    )
    assert choose_instrument(DraftSettings(instrument=str(path))).frets == 19
    with pytest.raises(UsageError, match="0 to 17"):
        choose_instrument(DraftSettings(instrument=str(path), capo=2, position=18))


def test_impossible_settings_are_refused_before_the_take_is_read(stages):
    with pytest.raises(UsageError):
        draft_take("line.wav", DraftSettings(position=30))
    assert stages == {}


def test_a_person_s_corrections_outlive_a_new_draft(tmp_path, stub_stages):
    take, path = tmp_path / "line.wav", tmp_path / "line.draft.json"
    assert run(["draft", str(take), "-q"]) == 0
    machine, midi = path.read_bytes(), (tmp_path / "line.mid").read_bytes()
    mark = NoteMark.of(read_draft(path).notes[1])
    correction = Correction("change_note", note=mark, values={"pitch_midi": 63, "string": 3, "fret": 8})
    append_correction(path, correction, seen=0)
    journal = journal_path(path).read_bytes()
    assert run(["draft", str(take), "-q", "--force"]) == 0
    assert path.read_bytes() == machine, "the draft is the machine's"
    assert journal_path(path).read_bytes() == journal
    assert (tmp_path / "line.mid").read_bytes() != midi, "MIDI and tab are the corrected ones"


def test_a_correction_that_no_longer_fits_is_told(tmp_path, stub_stages, capsys):
    take, path = tmp_path / "line.wav", tmp_path / "line.draft.json"
    run(["draft", str(take), "-q"])
    mark = NoteMark.of(read_draft(path).notes[1])
    append_correction(path, Correction("remove_note", note=mark), seen=0)
    lines = (
        journal_path(path)
        .read_text()
        .replace('"onset_s":0.5', '"onset_s":1.9')
        .replace('"onset_s": 0.5', '"onset_s": 1.9')
    )
    digest = json.loads(lines)["draft_sha256"]
    journal_path(path).write_text(lines.replace(digest, "0" * 64))
    capsys.readouterr()
    assert run(["draft", str(take), "-q", "--force"]) == 0
    assert "Corrections that no longer fit" in capsys.readouterr().out
