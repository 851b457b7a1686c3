"""Measuring a guitar: alignment by brute force, and strings of the synthesiser whose truth is known."""

from __future__ import annotations

import itertools
import json
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.fretboard.played_guitar import RATE_HZ, play_labelled
from transcriber.cli import run
from transcriber.errors import UsageError
from transcriber.fretboard import expected_places, parse_places, read_instrument, retuned
from transcriber.fretboard.guitar_profile import align
from transcriber.fretboard.stiffness import (
    StiffnessSettings,
    StringSet,
    expected_log10_b,
    string_log_likelihoods,
    string_set_of,
)
from transcriber.records.placed import Instrument, MeasuredString
from transcriber.synthesis.string_model import STRING_SET

STANDARD = (64, 59, 55, 50, 45, 40)
CENTS = {6: -12.0, 5: 8.0, 4: -3.0, 3: 11.0, 2: -7.0, 1: 4.0}
OCTAVE_CENTS = {6: 6.0, 3: -9.0}
DEFAULT_ORDER = [(string, fret) for string in (6, 5, 4, 3, 2, 1) for fret in (0, 12)]


# --- alignment -------------------------------------------------------------------------------------------


def alignment_cost(sounded: list[float], wanted: list[float], matches: tuple[int | None, ...]) -> float:
    """Cost by definition: 1 a note left out, 0.6 a stray sound, 0.05 a note again, and the distance."""
    played = [match for match in matches if match is not None]
    if any(b < a for a, b in itertools.pairwise(played)):
        return math.inf
    cost = 1.0 * (len(wanted) - len(set(played))) + 0.05 * (len(played) - len(set(played)))
    for midi, match in zip(sounded, matches, strict=True):
        off = 0.6 if match is None else abs(midi - wanted[match])
        cost += off if match is None or off <= 0.9 else math.inf
    return cost


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    st.lists(st.integers(400, 440).map(lambda n: n / 10), max_size=5),
    st.lists(st.integers(40, 44).map(float), min_size=1, max_size=4),
)
def test_the_alignment_is_the_cheapest_there_is(sounded: list[float], wanted: list[float]) -> None:
    choices = itertools.product([None, *range(len(wanted))], repeat=len(sounded))
    best = min(alignment_cost(sounded, wanted, matches) for matches in choices)
    assert alignment_cost(sounded, wanted, tuple(align(sounded, wanted))) == pytest.approx(best, abs=1e-9)


@pytest.mark.parametrize(
    ("sounded", "matches"),
    [
        ([40, 52, 45, 57], [0, 1, 2, 3]),
        ([40, 52, 52, 45, 57], [0, 1, 1, 2, 3]),
        ([40, 45, 57], [0, 2, 3]),
        ([40, 52, 61, 45, 57], [0, 1, None, 2, 3]),
        ([39.4, 51.5, 44.4, 56.3], [0, 1, 2, 3]),
        ([], []),
        ([70, 71], [None, None]),
    ],
)
def test_repeated_missed_and_stray_notes_spoil_nothing_else(sounded: list, matches: list) -> None:
    assert align(sounded, [40, 52, 45, 57]) == matches


# --- what is played --------------------------------------------------------------------------------------


def test_strings_are_expected_from_the_lowest_up_open_and_at_the_octave() -> None:
    guitar = read_instrument("standard")
    assert list(expected_places(guitar)) == DEFAULT_ORDER
    assert expected_places(replace(guitar, capo=13)) == tuple((string, 0) for string in (6, 5, 4, 3, 2, 1))


def test_labels_are_read_as_written() -> None:
    guitar = read_instrument("standard")
    assert parse_places("6/0, 6/12 1/22", guitar) == ((6, 0), (6, 12), (1, 22))


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("", "no notes"),
        ("6-0", "6-0"),
        ("6/", "'6/'"),
        ("7/0", "1 to 6"),
        ("0/3", "1 to 6"),
        ("6/25", "0 to 24"),
    ],
)
def test_labels_that_are_no_places_are_refused(text: str, named: str) -> None:
    with pytest.raises(UsageError, match=named):
        parse_places(text, read_instrument("standard"))


# --- end to end ------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def recording(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("guitar") / "my strings.wav"
    sf.write(path, play_labelled(DEFAULT_ORDER, CENTS, octave_cents=OCTAVE_CENTS), RATE_HZ)
    return path


def measure(recording: Path, out: Path, *words: str) -> int:
    return run(["instrument", str(recording), "--out", str(out), "-q", *words])


def test_a_guitar_of_known_strings_is_measured(recording: Path, tmp_path: Path) -> None:
    out = tmp_path / "loft.json"
    assert measure(recording, out) == 0
    instrument = read_instrument(out)
    assert (instrument.name, instrument.tuning_midi, instrument.frets) == ("loft", STANDARD, 24)
    assert instrument.measured is not None
    for number, string in enumerate(instrument.measured, 1):
        assert string is not None
        assert string.notes == 2
        assert string.tuning_cents == pytest.approx(CENTS[number], abs=1.0)
        assert string.intonation_cents == pytest.approx(OCTAVE_CENTS.get(number, 0.0), abs=1.5)
        assert 10**string.log10_b == pytest.approx(STRING_SET[number - 1].inharmonicity, rel=0.15)
        assert string.log10_b_sd < 0.08
        assert string.brightness > 1.0
    provenance = json.loads(out.read_text())["provenance"]
    assert provenance["recording"] == "my strings.wav"
    assert len(provenance["sha256"]) == 64
    assert provenance["notes_used"] == 12


def test_one_recording_gives_the_same_bytes(recording: Path, tmp_path: Path) -> None:
    outs = [tmp_path / place / "loft.json" for place in "ab"]
    assert [measure(recording, out) for out in outs] == [0, 0]
    assert outs[0].read_bytes() == outs[1].read_bytes()


def test_missed_repeated_and_stray_notes_are_told(tmp_path: Path, capsys: pytest.CaptureFixture) -> None:
    played = [(6, 0), (6, 12), (6, 12), (5, 0), (4, 0), (4, 12), (3, 0), (3, 6), (3, 12), (2, 0), (2, 12)]
    path = tmp_path / "uneven.wav"
    sf.write(path, play_labelled(played, {}), RATE_HZ)
    assert measure(path, tmp_path / "uneven.json", "--json") == 0
    (result,) = json.loads(capsys.readouterr().out)
    assert result["not_found"] == ["5/12", "1/0", "1/12"]
    assert [sound["pitch_midi"] for sound in result["not_used"]] == [61]
    assert [string and string["notes"] for string in result["measured"]] == [None, 2, 2, 2, 1, 3]
    assert measure(path, tmp_path / "uneven.json", "--force") == 0
    told = capsys.readouterr().out
    assert "String 1 (E4): not measured" in told
    assert "Not found: string 5, fret 12 (A3)" in told
    assert "Not used: C#4 at" in told


def test_further_notes_may_be_labelled_in_any_order(tmp_path: Path) -> None:
    played = [(1, 5), (1, 0), (3, 7), (3, 2)]
    path = tmp_path / "some.wav"
    sf.write(path, play_labelled(played, CENTS), RATE_HZ)
    assert measure(path, tmp_path / "some.json", "--notes", "1/5 1/0 3/7 3/2") == 0
    first, _, third, *_ = read_instrument(tmp_path / "some.json").measured
    assert (first.tuning_cents, third.tuning_cents) == pytest.approx((4.0, 11.0), abs=1.0)
    assert first.intonation_cents is None
    assert 10**third.log10_b == pytest.approx(STRING_SET[2].inharmonicity, rel=0.15)


def test_a_measured_guitar_is_drafted_with(recording: Path, tmp_path: Path) -> None:
    out = tmp_path / "loft.json"
    assert measure(recording, out) == 0
    played = [(5, 10), (5, 12), (4, 9), (4, 12), (4, 10), (5, 12), (5, 10)]
    sound = tmp_path / "line.wav"
    sf.write(sound, play_labelled(played, CENTS), RATE_HZ)
    words = ["draft", str(sound), "--instrument", str(out), "--out", str(tmp_path), "-q"]
    assert run(words) == 0
    document = json.loads((tmp_path / "line.draft.json").read_text())
    assert document["instrument"]["name"] == "loft"
    assert [(note["string"], note["fret"]) for note in document["notes"]] == played


@pytest.mark.parametrize(
    ("words", "code", "named"),
    [
        (["--instrument", "bogus"], 2, "bogus"),
        (["--notes", "6/99"], 2, "0 to 24"),
        (["--notes", "1/22"], 2, "--notes"),
        (["--notez", "6/0"], 2, "--notes"),
    ],
)
def test_what_cannot_be_done_is_told_in_one_line(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture, words: list[str], code: int, named: str
) -> None:
    assert measure(recording, tmp_path / "a.json", *words) == code
    told = capsys.readouterr()
    assert named in told.err
    assert told.err.count("\n") == 1
    assert told.out == ""
    assert list(tmp_path.iterdir()) == []


def test_bad_recordings_and_places_to_write_are_refused(
    recording: Path, tmp_path: Path, capsys: pytest.CaptureFixture
) -> None:
    assert measure(tmp_path / "missing.wav", tmp_path / "a.json") == 3
    hiss = tmp_path / "hiss.wav"
    sf.write(hiss, 0.05 * np.random.default_rng(1).normal(size=2 * RATE_HZ), RATE_HZ)
    assert measure(hiss, tmp_path / "a.json") == 4
    assert measure(recording, tmp_path / "a.txt") == 2
    kept = tmp_path / "a.json"
    kept.write_text("mine")
    assert measure(recording, kept) == 1
    assert kept.read_text() == "mine"
    assert capsys.readouterr().err.count("\n") == 4
    assert measure(recording, kept, "--force") == 0


def test_a_recording_of_something_else_makes_no_instrument(
    tmp_path: Path, capsys: pytest.CaptureFixture
) -> None:
    """A line passes some of the notes that are asked for; a guitar measured by them would be out of tune."""
    line = Path(__file__).parents[2] / "sample_audio_generated" / "searchlight.flac"
    assert measure(line, tmp_path / "a.json") == 2
    told = capsys.readouterr().err
    assert "4 of the 12 notes expected" in told
    assert told.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_help_names_the_order(capsys: pytest.CaptureFixture) -> None:
    assert run(["instrument", "--help"]) == 0
    told = " ".join(capsys.readouterr().out.split())
    assert "each string from the lowest up, open and then at fret 12" in told
    assert "--notes" in told


# --- instrument files ------------------------------------------------------------------------------------

STRING = {
    "log10_b": -4.9,
    "log10_b_sd": 0.02,
    "tuning_cents": 1.5,
    "intonation_cents": None,
    "brightness": 2.0,
}


def own_file(folder: Path, **keys: object) -> Path:
    path = folder / "own.json"
    path.write_text(json.dumps({"format_version": 1, **keys}))
    return path


def test_an_own_file_overrides_only_what_it_says(tmp_path: Path) -> None:
    base = read_instrument("drop d")
    instrument = read_instrument(own_file(tmp_path, base="drop d", frets=21))
    assert instrument == replace(base, name="own", frets=21)
    gauges = [0.009, 0.011, 0.016, 0.024, 0.032, 0.042]
    assert read_instrument(own_file(tmp_path, base="standard", string_gauges_in=gauges)).gauges_in == tuple(
        gauges
    )
    other = read_instrument(own_file(tmp_path, base="standard", tuning_midi=[57, 50, 43]))
    assert (other.tuning_midi, other.gauges_in) == ((57, 50, 43), None)


@pytest.mark.parametrize(
    ("keys", "named"),
    [
        ({"base": "banjolele"}, "drop_d"),
        ({"base": 3}, "base is 3"),
        ({"base": "standard", "measured": [None] * 5}, "6 strings"),
        ({"base": "standard", "measured": {}}, "6 strings"),
        ({"base": "standard", "measured": [3, *[None] * 5]}, "string 1 is 3"),
        (
            {"base": "standard", "measured": [{**STRING, "log10_b": -1}, *[None] * 5]},
            "log10_b of measured string 1",
        ),
        ({"base": "standard", "measured": [{**STRING, "tuning_cents": "2"}, *[None] * 5]}, "tuning_cents"),
        ({"base": "standard", "measured": [{**STRING, "notes": -1}, *[None] * 5]}, "notes of measured"),
    ],
)
def test_damaged_keys_are_refused_in_one_line(tmp_path: Path, keys: dict, named: str) -> None:
    with pytest.raises(UsageError, match=named) as caught:
        read_instrument(own_file(tmp_path, **keys))
    assert "own.json" in str(caught.value)
    assert "\n" not in str(caught.value)


# --- what measured strings say ---------------------------------------------------------------------------

MEASURED = MeasuredString(-4.5, 0.01, 0.0, 0.0, 2.0, 2)
GAUGES = (0.010, 0.013, 0.017, 0.026, 0.036, 0.046)


def test_a_measured_string_stands_for_the_computed_one() -> None:
    strings = StringSet(STANDARD, GAUGES, 648.0, 0, (MEASURED, *[None] * 5))
    computed = StringSet(STANDARD, GAUGES, 648.0)
    assert expected_log10_b(strings, 1, 6) == pytest.approx(-4.5 + math.log10(2.0))
    assert expected_log10_b(replace(strings, capo=3), 1, 3) == expected_log10_b(strings, 1, 6)
    assert expected_log10_b(strings, 2, 6) == expected_log10_b(computed, 2, 6)


def test_measured_strings_speak_more_clearly_but_not_below_the_floor() -> None:
    """Density of a normal with the floor as its sd, by definition."""
    strings = StringSet(STANDARD, GAUGES, 648.0, 0, (MEASURED, replace(MEASURED, log10_b=-4.0), *[None] * 4))
    none = StiffnessSettings(outlier_share=0.0, measured_outlier_share=0.0)
    scores = string_log_likelihoods(-4.5 + 5 / 6 * math.log10(2.0), 0.0, [(1, 5), (2, 10)], strings, none)
    apart = (0.5 + 5 / 6 * math.log10(2.0)) / 0.03
    assert scores == pytest.approx({(1, 5): 0.0, (2, 10): -0.5 * apart**2})


def test_without_gauges_every_string_must_be_measured() -> None:
    instrument = Instrument("own", STANDARD, measured=(MEASURED,) * 6)
    assert string_set_of(instrument) is not None
    assert string_set_of(replace(instrument, measured=(*(MEASURED,) * 5, None))) is None
    unknown = replace(MEASURED, log10_b=None, log10_b_sd=None)
    assert string_set_of(replace(instrument, measured=(*(MEASURED,) * 5, unknown))) is None


def test_retuning_moves_what_was_measured_with_the_tension() -> None:
    """B goes with 1 / T and T with the square of the pitch: the computed strings do the same."""
    guitar = replace(read_instrument("standard"), measured=(None, *(MEASURED,) * 5))
    lowered = retuned(guitar, read_instrument("drop d").tuning_midi, "drop d")
    assert lowered.measured[1:5] == guitar.measured[1:5]
    computed = [
        expected_log10_b(StringSet(one.tuning_midi, GAUGES, 648.0), 6, 0) for one in (guitar, lowered)
    ]
    assert lowered.measured[5].log10_b - MEASURED.log10_b == pytest.approx(computed[1] - computed[0])


def test_another_number_of_strings_is_another_guitar() -> None:
    seven = retuned(read_instrument("standard"), read_instrument("seven string").tuning_midi, "seven")
    assert (seven.gauges_in, seven.measured) == (None, None)
    assert string_set_of(seven) is None
