from __future__ import annotations

import json
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from synthesis_lines import GUITAR, line, note

from transcriber.errors import TranscriberError, UsageError
from transcriber.records.line import LineNote
from transcriber.records.technique import Technique
from transcriber.records.written import Meter
from transcriber.synthesis import PlayingStyle, Tone, line_to_json, parse_line_file, read_line
from transcriber.synthesis.line_file import parse_meter


def document(**changes):
    base = {
        "format_version": 1,
        "title": "Ferry bell",
        "meter": "4/4",
        "tempo_bpm": 90,
        "notes": [{"start": "0", "length": "1/2", "string": 3, "fret": 5}],
    }
    return {**base, **changes}


def with_notes(*notes):
    return document(notes=list(notes))


A = {"start": "0", "length": "1", "string": 3, "fret": 5}


def test_defaults_are_a_guitar_in_standard_tuning():
    read = parse_line_file(document()).line
    assert read.instrument.tuning_midi == (64, 59, 55, 50, 45, 40)
    assert read.notes == (LineNote(Fraction(0), Fraction(1, 2), 3, 5, 90, ()),)
    assert read.swing is None


@st.composite
def lines(draw):
    steps = draw(
        st.lists(st.fractions(min_value=Fraction(1, 8), max_value=4, max_denominator=12), min_size=1)
    )
    notes, at = [], draw(st.sampled_from([Fraction(-3, 2), Fraction(0)]))
    for step in steps:
        kind = draw(st.sampled_from([None, "bend", "vibrato", "palm_mute"]))
        techniques = {
            None: (),
            "bend": (
                Technique("bend", semitones=draw(st.sampled_from([0.5, 1.0, 2.0]))),
                Technique("release"),
            ),
            "vibrato": (Technique("vibrato", rate_hz=5.0, depth_semitones=0.4, optional=True),),
            "palm_mute": (Technique("palm_mute"),),
        }[kind]
        notes.append(LineNote(at, step, draw(st.integers(1, 6)), draw(st.integers(1, 22)), 80, techniques))
        at += step
    return line(*notes, tempo=draw(st.integers(40, 200)), swing=draw(st.sampled_from([None, 2.0])))


@settings(max_examples=40, deadline=None)
@given(lines())
def test_a_written_line_survives_its_file(written):
    assert parse_line_file(json.loads(line_to_json(written))).line == written


def test_style_and_tone_survive_their_file():
    style, tone = PlayingStyle(lag_s=0.02, bend_s=(0.2, 0.3)), Tone(drive=0.5)
    text = line_to_json(line(note("0", "1", "3.5")), style, tone)
    read = parse_line_file(json.loads(text))
    assert (read.style, read.tone) == (style, tone)
    assert json.loads(text)["tone"] == {"drive": 0.5}


@pytest.mark.parametrize(
    ("bad", "said"),
    [
        (document(tempo_bpm=5), "tempo_bpm is 5; give 20 to 400"),
        (document(tempo_bpm="fast"), "tempo_bpm is 'fast'; give a number"),
        (document(swing=9), "swing is 9; give a long:short ratio of 1 to 4"),
        (document(meter="4"), "meter is '4'; write it like 4/4"),
        (document(notes=[]), "the line has no notes"),
        (document(colour="red"), "unknown key 'colour'"),
        (document(style={"lag_s": 3}), "style: lag_s is 3; give -0.2 to 0.2"),
        (document(tone={"drive": 2}), "tone: drive is 2; give 0 to 1"),
        (with_notes({**A, "string": 7}), "note 1 (start 0): string is 7; give 1 to 6"),
        (with_notes({**A, "fret": 23}), "fret is 23; give 0 to 22"),
        (with_notes({**A, "length": "0"}), "length is 0; give more than 0"),
        (with_notes({**A, "start": 0.5}), "note 1: start is '0.5'; give a rational in a string"),
        (with_notes({**A, "start": "1/0"}), "note 1: start is '1/0'"),
        (with_notes({**A, "velocity": 0}), "velocity is 0; give 1 to 127"),
        (with_notes(A, A), "note 2 (start 0): it does not start after the note ahead of it"),
        (with_notes({**A, "techniques": [{"kind": "shred"}]}), "technique is 'shred'"),
        (with_notes({**A, "techniques": [{"kind": "bend"}]}), "bend semitones is None; give 0.1 to 5"),
        (with_notes({**A, "fret": 0, "techniques": [{"kind": "bend", "semitones": 1}]}), "on an open string"),
        (with_notes({**A, "techniques": [{"kind": "release"}]}), "write a higher bend before it"),
        (with_notes({**A, "techniques": [{"kind": "hammer_on"}]}), "must come right after another note"),
        (with_notes({**A, "techniques": [{"kind": "trill"}]}), "trill to_fret is None"),
        (with_notes({**A, "fret": 6, "techniques": [{"kind": "natural_harmonic"}]}), "no natural harmonic"),
        (
            with_notes(A, {**A, "start": "1", "techniques": [{"kind": "hammer_on"}]}),
            "hammer_on from fret 5 to 5; it must go up",
        ),
        (
            with_notes(A, {**A, "start": "1", "fret": 7, "techniques": [{"kind": "pull_off"}]}),
            "pull_off from fret 5 to 7; it must go down",
        ),
        (
            with_notes(A, {**A, "start": "1", "string": 2, "fret": 7, "techniques": [{"kind": "slide"}]}),
            "slide must come right after another note on string 2",
        ),
        (with_notes({**A, "length": "0", "techniques": [{"kind": "grace"}]}), "a grace needs the note"),
    ],
)
def test_what_cannot_be_played_is_told_in_one_line(bad, said):
    with pytest.raises(UsageError) as caught:
        parse_line_file(bad)
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "not a line file"),
        ("[]", "format_version is missing"),
        ('{"format_version": 2}', "format_version is 2; this program reads 1"),
        (json.dumps(document(tempo_bpm=1)), "tempo_bpm is 1"),
    ],
)
def test_a_damaged_file_is_named(tmp_path, text, said):
    path = tmp_path / "odd.line.json"
    path.write_text(text)
    with pytest.raises(TranscriberError) as caught:
        read_line(path)
    assert str(caught.value).startswith("odd.line.json: ")
    assert said in str(caught.value)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(TranscriberError, match=r"gone\.line\.json: no such line file"):
        read_line(tmp_path / "gone.line.json")


def test_meters():
    assert parse_meter("6/8") == Meter(6, 8)
    with pytest.raises(UsageError):
        parse_meter("6/7")


def test_capo_shortens_the_neck():
    with pytest.raises(UsageError, match="give 0 to 18, counted from the capo"):
        parse_line_file(document(capo=4, notes=[{**A, "fret": 19}]))
    assert GUITAR.highest_fret == 22
