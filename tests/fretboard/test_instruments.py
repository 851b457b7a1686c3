"""Instruments and tunings: common practice from check values, and what is refused."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from transcriber.errors import UsageError
from transcriber.fretboard import BUILT_IN_INSTRUMENTS, check_tuning, parse_tuning, read_instrument
from transcriber.models import load_model, models_folder
from transcriber.records.pitch import hz_to_midi, midi_to_hz, pitch_name

STANDARD = (64, 59, 55, 50, 45, 40)  # common practice


def test_standard_tuning_sounds_at_the_published_frequencies() -> None:
    """Hz by 12-tone equal temperament at A4 = 440 Hz (common practice; ISO 16:1975 from memory)."""
    published = (329.6276, 246.9417, 195.9977, 146.8324, 110.0000, 82.4069)
    instrument = read_instrument("standard")
    assert instrument.tuning_midi == STANDARD
    for pitch, hertz in zip(instrument.tuning_midi, published, strict=True):
        assert midi_to_hz(pitch) == pytest.approx(hertz, abs=1e-4)
        assert hz_to_midi(hertz) == pytest.approx(pitch, abs=1e-4)
        assert hz_to_midi(midi_to_hz(pitch, 432.0), 432.0) == pytest.approx(pitch, abs=1e-9)


def test_fifth_fret_sounds_as_the_next_thinner_open_string_but_fourth_on_string_3() -> None:
    """Common practice."""
    instrument = read_instrument("standard")
    for string in range(2, 7):
        fret = 4 if string == 3 else 5
        assert instrument.open_midi(string) + fret == instrument.open_midi(string - 1)


@pytest.mark.parametrize(
    ("name", "lowest_first"),
    [
        # Note names by common practice, from the lowest string up.
        ("half_step_down", "Eb2 Ab2 Db3 Gb3 Bb3 Eb4"),
        ("whole_step_down", "D2 G2 C3 F3 A3 D4"),
        ("drop_d", "D2 A2 D3 G3 B3 E4"),
        ("open_g", "D2 G2 D3 G3 B3 D4"),
        ("open_d", "D2 A2 D3 F#3 A3 D4"),
        ("open_e", "E2 B2 E3 G#3 B3 E4"),
        ("seven_string", "B1 E2 A2 D3 G3 B3 E4"),
        ("baritone", "B1 E2 A2 D3 F#3 B3"),
        ("bass", "E1 A1 D2 G2"),
    ],
)
def test_built_in_tunings_are_those_of_common_practice(name: str, lowest_first: str) -> None:
    assert read_instrument(name).tuning_midi == parse_tuning(lowest_first) == parse_tuning(name)


def test_every_built_in_file_is_listed_and_carries_build_and_provenance() -> None:
    files = {path.stem for path in (models_folder() / "instruments").glob("*.json")}
    assert files == set(BUILT_IN_INSTRUMENTS)
    for name in BUILT_IN_INSTRUMENTS:
        document = load_model(f"instruments/{name}")
        assert document["provenance"]
        assert set(document["units"]) == {"tuning_midi", "frets", "scale_length_mm", "string_gauges_in"}
        gauges = document["string_gauges_in"]
        assert len(gauges) == len(document["tuning_midi"])
        assert gauges == sorted(gauges)
        assert 500 < document["scale_length_mm"] < 1000


@pytest.mark.parametrize("said", ["drop d", "Drop-D", "DROP_D"])
def test_names_may_be_said_in_any_way(said: str) -> None:
    assert read_instrument(said) == read_instrument("drop_d")


@pytest.mark.parametrize(
    ("text", "tuning"),
    [
        ("E2 A2 D3 G3 B3 E4", STANDARD),
        ("40 45 50 55 59 64", STANDARD),
        ("40,45,50,55,59,64", STANDARD),
        ("DADGBE", (64, 59, 55, 50, 45, 38)),
        ("dadgbe", (64, 59, 55, 50, 45, 38)),
        ("D-A-D-G-A-D", (62, 57, 55, 50, 45, 38)),
        ("Eb Ab Db Gb Bb Eb", (63, 58, 54, 49, 44, 39)),
        ("E♭A♭D♭G♭B♭E♭", (63, 58, 54, 49, 44, 39)),
        ("D#G#C#F#A#D#", (63, 58, 54, 49, 44, 39)),
        ("CGCFAD", (62, 57, 53, 48, 43, 36)),
        ("EADG", (43, 38, 33, 28)),
        ("BEADGBE", (64, 59, 55, 50, 45, 40, 35)),
        ("G2 D3 A3", (57, 50, 43)),
    ],
)
def test_tunings_are_read_as_players_say_them(text: str, tuning: tuple[int, ...]) -> None:
    assert parse_tuning(text) == tuning


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("", "0 strings"),
        ("loose", "loose"),
        ("E2 A2", "3 to 12"),
        ("E4 B3 G3 D3 A2 E2", "lowest"),
        ("E2 A2 D3 G3 B3 E7", "88"),
        ("0 5 10", "21"),
        ("EADGC", "octaves"),
        ("40 45 50 55 59 64 69 74 79 84 88 88 88", "3 to 12"),
    ],
)
def test_impossible_tunings_are_refused_in_one_line(text: str, named: str) -> None:
    with pytest.raises(UsageError, match=named) as caught:
        parse_tuning(text)
    assert "\n" not in str(caught.value)


@given(st.lists(st.integers(21, 88), min_size=3, max_size=12).map(lambda p: tuple(sorted(p, reverse=True))))
def test_names_and_numbers_read_back(tuning: tuple[int, ...]) -> None:
    assert check_tuning(tuning) == tuning
    assert parse_tuning(" ".join(pitch_name(pitch) for pitch in reversed(tuning))) == tuning
    assert parse_tuning(" ".join(str(pitch) for pitch in reversed(tuning))) == tuning


def _write(folder: Path, document: object) -> Path:
    path = folder / "own.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document), encoding="utf-8")
    return path


def test_a_players_own_file_is_read(tmp_path: Path) -> None:
    path = _write(
        tmp_path, {"format_version": 1, "name": "loft guitar", "tuning_midi": [62, 57, 50], "frets": 20}
    )
    instrument = read_instrument(path)
    assert (instrument.name, instrument.tuning_midi, instrument.frets) == ("loft guitar", (62, 57, 50), 20)
    assert instrument.capo == 0


@pytest.mark.parametrize(
    ("document", "named"),
    [
        ("{", "not JSON"),
        ("[]", "no JSON object"),
        ({"format_version": 2}, "format_version 2"),
        ({"format_version": 1, "frets": 22}, "tuning_midi is None"),
        ({"format_version": 1, "tuning_midi": [64, 59, 55.5], "frets": 22}, "55.5"),
        ({"format_version": 1, "tuning_midi": [40, 45, 50], "frets": 22}, "lowest"),
        ({"format_version": 1, "tuning_midi": [64, 59, 55], "frets": 99}, "99"),
        ({"format_version": 1, "tuning_midi": [64, 59, 55], "frets": True}, "True"),
        ({"format_version": 1, "tuning_midi": [64, 59, 55], "frets": 22, "capo": 22}, "capo is 22"),
        ({"format_version": 1, "tuning_midi": [64, 59, 55], "frets": 22, "name": " "}, "name"),
    ],
)
def test_a_damaged_file_is_refused_in_one_line(tmp_path: Path, document: object, named: str) -> None:
    path = _write(tmp_path, document)
    with pytest.raises(UsageError, match=named) as caught:
        read_instrument(path)
    assert "own.json" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_an_unknown_name_lists_the_built_in_ones(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="drop_d"):
        read_instrument("banjolele")
    with pytest.raises(UsageError, match="cannot be read"):
        read_instrument(tmp_path)
