"""A bass guitar, and a guitar with low strings: the same clef in every format, and a sound that fits."""

from __future__ import annotations

import io

import export_drafts as lines
import mido
import pytest
from lxml import etree

from transcriber.export import text_tab
from transcriber.export.midi import midi_bytes
from transcriber.export.musicxml import musicxml_bytes
from transcriber.export.sheet.page import sheet_source

BASS = (43, 38, 33, 28)
FIVE_STRING_BASS = (43, 38, 33, 28, 23)
EIGHT_STRING_GUITAR = (64, 59, 55, 50, 45, 40, 35, 30)
# General MIDI 1, counted from 1: 34 is the fingered electric bass, 28 the clean electric guitar.
FAMILIES = [(BASS, "F", 34), (FIVE_STRING_BASS, "F", 34), (EIGHT_STRING_GUITAR, "G", 28)]


@pytest.mark.parametrize(("tuning", "clef", "program"), FAMILIES)
def test_clef_and_sound_agree_between_formats(tuning: tuple[int, ...], clef: str, program: int) -> None:
    draft = lines.build([(0, "1", len(tuning), 3)], tuning=tuning)
    root = etree.fromstring(musicxml_bytes(draft, "both"))
    assert root.findtext(".//clef[@number='1']/sign") == clef
    assert ('"bass_8"' in sheet_source(draft)) == (clef == "F")
    assert root.findtext(".//midi-program") == str(program)
    track = mido.MidiFile(file=io.BytesIO(midi_bytes(draft))).tracks[1]
    assert {one.program for one in track if one.type == "program_change"} == {program - 1}


def test_half_a_tone_down_is_told_in_flats() -> None:
    text = text_tab(lines.build([(0, "1", 3, 3)], tuning=(63, 58, 54, 49, 44, 39)))
    assert "Tuning: Eb Ab Db Gb Bb Eb (string 6 to 1, half a tone down)" in text
    assert "\nGb|-3" in text
