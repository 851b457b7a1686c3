from __future__ import annotations

import io
import json
import re
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import soundfile

from transcriber.synthesis import RenderOptions, perform, read_line_file, render_line_file, truth_document
from transcriber.synthesis.rendered_take import STYLES, TONES

FOLDER = Path(__file__).parents[2] / "sample_audio_generated"
COMMAND = re.compile(
    r"^transcriber render sample_audio_generated/(\w+)\.line\.json "
    r"--out sample_audio_generated/(\w+)\.flac --seed (\d+) --force$",
    re.MULTILINE,
)
SEEDS = {
    name: int(seed) for name, out, seed in COMMAND.findall((FOLDER / "README.md").read_text()) if name == out
}
# Other processors may round the last bit of a float another way.
LARGEST_DIFFERENCE = 2


def truth(name):
    return json.loads((FOLDER / f"{name}.truth.json").read_text())


def test_every_line_has_a_take_a_truth_and_a_command():
    names = {path.name.removesuffix(".line.json") for path in FOLDER.glob("*.line.json")}
    assert len(names) >= 7
    assert set(SEEDS) == names
    assert {path.stem for path in FOLDER.glob("*.flac")} == names
    assert {path.name.removesuffix(".truth.json") for path in FOLDER.glob("*.truth.json")} == names


@pytest.mark.parametrize("name", sorted(SEEDS))
def test_takes_have_the_promised_format(name):
    info = soundfile.info(FOLDER / f"{name}.flac")
    assert (info.format, info.subtype, info.channels, info.samplerate) == ("FLAC", "PCM_16", 1, 44100)
    assert 16 <= info.duration <= 40
    assert (FOLDER / f"{name}.flac").stat().st_size < 1_200_000
    sound, _ = soundfile.read(FOLDER / f"{name}.flac")
    assert np.abs(sound).max() <= 10 ** (-1 / 20)


@pytest.mark.parametrize("name", sorted(SEEDS))
def test_truth_is_what_the_line_file_and_seed_give(name):
    content = read_line_file(FOLDER / f"{name}.line.json")
    made = truth_document(perform(content.line, content.style, SEEDS[name]), content.tone.reference_hz)
    kept = truth(name)
    assert [note["bar"] for note in kept["notes"]] == [note["bar"] for note in made["notes"]]
    for key in ("onset_s", "end_s"):
        assert [note[key] for note in kept["notes"]] == pytest.approx(
            [note[key] for note in made["notes"]], abs=2e-4
        )
    assert [[technique["kind"] for technique in note["techniques"]] for note in kept["notes"]] == [
        [technique.kind for technique in note.techniques] for note in content.line.notes
    ]
    assert kept["instrument"] == made["instrument"]


@pytest.mark.parametrize("name", ["wheelhouse_rattle", "searchlight"])
def test_the_command_makes_the_take_again(name):
    flac, truth_bytes = render_line_file(FOLDER / f"{name}.line.json", RenderOptions(seed=SEEDS[name]))
    made, _ = soundfile.read(io.BytesIO(flac), dtype="int16")
    kept, _ = soundfile.read(FOLDER / f"{name}.flac", dtype="int16")
    assert len(made) == len(kept)
    assert np.abs(made.astype(int) - kept.astype(int)).max() <= LARGEST_DIFFERENCE
    assert json.loads(truth_bytes).keys() == truth(name).keys()


def test_the_takes_hold_what_the_readme_says():
    def kinds(name):
        return {technique["kind"] for note in truth(name)["notes"] for technique in note["techniques"]}

    def lengths(name):
        return [Fraction(note["length"]) for note in truth(name)["notes"]]

    assert kinds("fog_at_the_landing") == set()
    assert kinds("diesel_and_rain") >= {"bend", "release", "pre_bend", "vibrato"}
    assert Fraction(1, 6) in lengths("wheelhouse_rattle")
    assert Fraction(1, 4) in lengths("wheelhouse_rattle")
    assert truth("first_bell")["notes"][0]["bar"] == 0
    assert kinds("searchlight") >= {"bend", "pre_bend", "slide_in", "slide_out"}
    assert kinds("up_the_gangway") >= {"slide", "hammer_on", "pull_off"}
    assert truth("slow_current")["timing"]["swing"] == 2.0
    assert truth("last_crossing")["timing"]["meter"] == "6/8"
    assert truth("last_crossing")["instrument"]["reference_hz"] < 438.5


def test_the_attempt_is_slower_and_has_the_mistakes_the_readme_lists():
    model, attempt = truth("ticket_window"), truth("ticket_window_attempt")
    assert attempt["timing"]["tempo_bpm"] < 0.75 * model["timing"]["tempo_bpm"]
    assert len(attempt["notes"]) == len(model["notes"]) - 1

    def by_place(document):
        return {(note["bar"], note["beat"]): note for note in document["notes"]}

    wanted, played = by_place(model), by_place(attempt)
    missing = wanted.keys() - played.keys()
    wrong = [at for at in played if played[at]["pitch_midi"] != wanted[at]["pitch_midi"]]
    flat = [
        at
        for at in played
        for technique in played[at]["techniques"]
        if technique["kind"] == "bend" and technique["semitones"] < 1.75
    ]
    assert [bar for bar, _ in missing] == [3]
    assert sorted(bar for bar, _ in wrong) == [2, 6, 8]
    assert sorted(bar for bar, _ in flat) == [3, 7]


def test_a_named_style_tone_and_tempo_take_the_place_of_the_files(tmp_path):
    line = FOLDER / "last_crossing.line.json"
    options = RenderOptions(seed=1, style="exact", tone="clean", tempo_bpm=80.0)
    _, truth_bytes = render_line_file(line, options)
    made = json.loads(truth_bytes)
    assert made["timing"]["tempo_bpm"] == 80.0
    assert made["instrument"]["reference_hz"] == 440.0
    assert set(STYLES) == {"exact", "steady", "loose", "beginner"}
    assert "clean" in TONES


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (RenderOptions(seed=-1), "seed is -1; give 0 or more"),
        (RenderOptions(style="wild"), "style is 'wild'; give one of exact, steady, loose, beginner"),
        (RenderOptions(tone="purple"), "tone is 'purple'; give one of clean"),
        (RenderOptions(tempo_bpm=1000.0), "tempo_bpm is 1000; give 20 to 400"),
    ],
)
def test_bad_options_are_told_in_one_line(options, said):
    from transcriber.errors import UsageError

    with pytest.raises(UsageError, match=re.escape(said)):
        render_line_file(FOLDER / "fog_at_the_landing.line.json", options)
