from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from synthesis_lines import curve, line, note

from transcriber.errors import UsageError
from transcriber.records.technique import Technique
from transcriber.records.written import Meter
from transcriber.synthesis import EXACT, PlayingStyle, perform, truth_document

BEND = Technique("bend", semitones=2.0)
RELEASE = Technique("release", semitones=0.0)
VIBRATO = Technique("vibrato", rate_hz=5.0, depth_semitones=0.5)


def play(*notes, style=EXACT, seed=1, **line_settings):
    return perform(line(*notes, **line_settings), style, seed)


def onsets(performance):
    return [played.onset_s - EXACT.lead_in_s for played in performance.notes]


# Closed forms of time ------------------------------------------------------------------------------------


def test_exact_playing_puts_notes_on_the_grid():
    performance = play(note("0", "1", "3.5"), note("1", "1/2", "3.7"), note("3/2", "1/2", "2.5"), tempo=120)
    assert onsets(performance) == pytest.approx([0.0, 0.5, 0.75])
    assert performance.beats_s[:3] == pytest.approx([0.4, 0.9, 1.4])


def test_a_sixteenth_triplet_lasts_ten_over_tempo():
    # 10 / BPM seconds (computed): 100 ms at 100.
    run = [note(str(Fraction(k, 6)), "1/6", f"3.{5 + k % 2}") for k in range(6)]
    assert np.diff(onsets(play(*run, tempo=100))) == pytest.approx(0.1)


def test_tempo_counts_dotted_quarters_in_compound_meter():
    performance = play(note("0", "3", "3.5"), note("3", "3", "3.7"), tempo=60, meter=Meter(6, 8))
    assert onsets(performance) == pytest.approx([0.0, 1.0])
    assert truth_document(performance)["timing"]["tempo_bpm"] == pytest.approx(60.0)


def test_triplet_swing_delays_the_second_eighth_to_two_thirds():
    eighths = (note("0", "1/2", "3.5"), note("1/2", "1/2", "3.7"), note("1", "1", "3.5"))
    assert onsets(play(*eighths, swing=2.0)) == pytest.approx([0.0, 2 / 3, 1.0])


def test_triplets_stay_even_under_swing():
    triplet = [note(str(Fraction(k, 3)), "1/3", "3.5") for k in range(3)]
    assert onsets(play(*triplet, swing=3.0)) == pytest.approx([0.0, 1 / 3, 2 / 3])


def test_a_pickup_bar_counts_as_if_it_were_full():
    performance = play(note("-1/2", "1/2", "3.5"), note("0", "1", "3.7"))
    assert performance.first_beat == -1
    first, second = truth_document(performance)["notes"]
    assert (first["bar"], first["beat"], first["length"]) == (0, "9/2", "1/2")
    assert (second["bar"], second["beat"]) == (1, "1")


def test_spread_drift_and_lag_are_what_the_style_says():
    many = [note(str(k), "1", "3.5") for k in range(400)]
    style = replace(EXACT, timing_sd_s=0.01, lag_s=0.05)
    off = np.array(onsets(play(*many, style=style))) - np.arange(400)
    assert off.mean() == pytest.approx(0.05, abs=0.002)
    assert off.std() == pytest.approx(0.01, rel=0.15)
    drifting = play(*many, style=replace(EXACT, tempo_drift=0.02))
    steps = np.diff(drifting.beats_s)
    assert steps.std() == pytest.approx(0.02, rel=0.5)
    # Slow: neighbouring beats are alike.
    assert np.corrcoef(steps[:-1], steps[1:])[0, 1] > 0.7


def test_articulation_is_the_share_that_sounds():
    notes = [note(str(k), "1", f"{1 + k % 2}.5") for k in range(40)]
    performance = play(*notes, style=replace(EXACT, articulation=0.6))
    shares = [played.end_s - played.onset_s for played in performance.notes]
    assert np.mean(shares) == pytest.approx(0.6, abs=0.02)


def test_a_string_sounds_one_note_at_a_time():
    ring = Technique("let_ring")
    performance = play(note("0", "1", "3.5", ring), note("1", "1", "2.5", ring), note("2", "1", "3.7"))
    first, second, third = performance.notes
    assert first.end_s == third.onset_s
    assert second.end_s > third.onset_s


def test_a_grace_comes_before_the_note_it_decorates():
    grace = Technique("grace")
    hammer = Technique("hammer_on")
    performance = play(note("0", "1", "3.5"), note("1", "0", "3.5", grace), note("1", "1", "3.7", hammer))
    _, first, second = onsets(performance)
    assert second == pytest.approx(1.0)
    assert 0.05 < second - first < 0.09
    assert truth_document(performance)["notes"][1]["beat"] == "2"


# Pitch curves --------------------------------------------------------------------------------------------


def test_a_full_bend_rises_two_semitones_and_stays():
    played = play(note("0", "2", "3.7", BEND)).notes[0]
    (technique,) = played.techniques
    assert technique.start_s is not None
    assert technique.end_s is not None
    assert 0.12 <= technique.end_s - technique.start_s <= 0.25
    assert curve(played, technique.start_s) == pytest.approx(0.0, abs=1e-6)
    assert curve(played, (technique.start_s + technique.end_s) / 2) == pytest.approx(1.0, abs=0.02)
    assert curve(played, technique.end_s) == pytest.approx(2.0, abs=1e-3)
    assert curve(played, played.end_s) == pytest.approx(2.0)
    assert np.all(np.diff(played.curve_semitones) >= -1e-12)


@pytest.mark.parametrize("seed", range(20))
def test_bends_are_exact_to_ten_cents(seed):
    played = play(note("0", "2", "3.7", BEND), style=PlayingStyle(intonation_cents=0.0), seed=seed).notes[0]
    assert abs(played.curve_semitones[-1] - 2.0) <= 0.1001
    assert played.techniques[0].semitones == pytest.approx(played.curve_semitones[-1], abs=1e-3)


def test_bend_and_release_comes_back_to_the_fret():
    played = play(note("0", "2", "3.7", BEND, RELEASE)).notes[0]
    bend, release = played.techniques
    assert bend.end_s is not None
    assert release.start_s is not None
    assert release.start_s > bend.end_s
    assert curve(played, release.start_s) == pytest.approx(2.0, abs=0.01)
    assert curve(played, played.end_s) == pytest.approx(0.0, abs=1e-9)
    assert release.semitones == 0.0


def test_pre_bend_starts_at_its_target():
    pre = Technique("pre_bend", semitones=1.0)
    held = play(note("0", "2", "3.7", pre)).notes[0]
    assert held.curve_semitones == pytest.approx(np.ones(len(held.curve_semitones)))
    released = play(note("0", "2", "3.7", pre, RELEASE)).notes[0]
    assert released.curve_semitones[0] == pytest.approx(1.0)
    assert released.curve_semitones[-1] == pytest.approx(0.0, abs=1e-9)


def test_finger_vibrato_is_sharp_of_the_fret():
    # Common practice: a finger can only raise the pitch, so the mean lies half the depth above.
    played = play(note("0", "4", "3.7", VIBRATO)).notes[0]
    (technique,) = played.techniques
    steady = played.curve_semitones[played.curve_times_s > technique.start_s + 0.2]
    assert steady.min() == pytest.approx(0.0, abs=0.01)
    assert steady.max() == pytest.approx(technique.depth_semitones, abs=0.01)
    assert steady.mean() == pytest.approx(technique.depth_semitones / 2, abs=0.03)
    before = played.curve_semitones[played.curve_times_s <= technique.start_s]
    assert len(before) > 10
    assert np.all(before == 0.0)


def test_vibrato_has_the_rate_it_says():
    played = play(note("0", "4", "3.7", VIBRATO)).notes[0]
    (technique,) = played.techniques
    times = np.arange(technique.start_s + 0.2, played.end_s, 0.001)
    swing = np.interp(times, played.curve_times_s, played.curve_semitones)
    centred = swing - technique.depth_semitones / 2
    crossings = times[1:][(centred[:-1] < 0) & (centred[1:] >= 0)]
    assert 1 / np.mean(np.diff(crossings)) == pytest.approx(technique.rate_hz, rel=0.01)


def test_vibrato_on_a_held_bend_dips_below_the_target():
    played = play(note("0", "4", "3.7", BEND, VIBRATO)).notes[0]
    vibrato = played.techniques[1]
    steady = played.curve_semitones[played.curve_times_s > vibrato.start_s + 0.2]
    assert steady.max() == pytest.approx(2.0, abs=0.01)
    assert steady.min() == pytest.approx(2.0 - vibrato.depth_semitones, abs=0.01)


@pytest.mark.parametrize("picked", [False, True])
def test_a_slide_passes_the_frets_in_steps(picked):
    slide = Technique("slide", picked=picked)
    first, second = play(note("0", "1", "3.5"), note("1", "1", "3.9", slide)).notes
    (technique,) = second.techniques
    assert second.onset_s == pytest.approx(1.4)
    assert technique.end_s == second.onset_s
    assert first.end_s == technique.start_s == second.curve_times_s[0]
    assert technique.end_s - technique.start_s <= 0.15 * 1.15
    assert second.picked is picked
    glide = np.linspace(technique.start_s, technique.end_s, 200)
    heights = np.interp(glide, second.curve_times_s, second.curve_semitones)
    on_a_fret = np.abs(heights - np.round(heights)) < 1e-6
    assert on_a_fret.mean() > 0.7
    assert sorted(set(np.round(heights[on_a_fret]))) == [-4, -3, -2, -1, 0]


def test_slurs_change_at_once_and_are_not_picked():
    first, up, down = play(
        note("0", "1", "3.5"),
        note("1", "1", "3.7", Technique("hammer_on")),
        note("2", "1", "3.5", Technique("pull_off")),
    ).notes
    assert first.picked
    assert not up.picked
    assert not down.picked
    assert first.end_s == up.onset_s
    assert up.curve_semitones[0] == pytest.approx(-2.0)
    assert curve(up, up.onset_s + 0.008) == pytest.approx(0.0, abs=1e-9)
    assert down.curve_semitones[0] == pytest.approx(2.0)


def test_slides_into_and_out_of_nowhere():
    techniques = (Technique("slide_in", direction="up"), Technique("slide_out", direction="down"))
    played = play(note("0", "2", "3.9", *techniques)).notes[0]
    into, out = played.techniques
    assert played.curve_semitones[0] == pytest.approx(-3.0)
    assert curve(played, into.end_s) == pytest.approx(0.0, abs=1e-9)
    assert curve(played, out.start_s) == pytest.approx(0.0, abs=1e-9)
    assert played.curve_semitones[-1] == pytest.approx(-4.0)


def test_a_trill_alternates_between_its_frets():
    played = play(note("0", "2", "3.7", Technique("trill", to_fret=9))).notes[0]
    heights = np.interp(np.arange(0.41, 2.2, 0.001), played.curve_times_s, played.curve_semitones)
    assert set(np.round(heights[np.abs(heights % 2.0) < 1e-9])) == {0.0, 2.0}
    upward = np.sum((heights[:-1] < 1) & (heights[1:] >= 1))
    assert 5 <= upward / 1.8 <= 7.5


@pytest.mark.parametrize(
    ("fret", "semitones", "cents"), [(12, 12, 0.0), (7, 19, 1.955), (5, 24, 0.0), (4, 28, -13.686)]
)
def test_natural_harmonics_follow_the_harmonic_series(fret, semitones, cents):
    played = play(note("0", "2", f"6.{fret}", Technique("natural_harmonic"))).notes[0]
    assert played.pitch_midi == 40 + semitones
    assert 100 * played.curve_semitones.mean() == pytest.approx(cents, abs=0.01)


# Truth and repeatability ---------------------------------------------------------------------------------


def test_truth_has_the_keys_of_a_draft():
    document = truth_document(play(note("0", "2", "3.7", BEND)), reference_hz=438.0)
    assert set(document["instrument"]) >= {"name", "tuning_midi", "capo", "frets", "reference_hz"}
    assert set(document["timing"]) >= {"tempo_bpm", "meter", "swing", "beats_s"}
    assert set(document["notes"][0]) >= {
        "id", "onset_s", "end_s", "pitch_midi", "string", "fret", "bar", "beat", "length", "velocity",
        "techniques",
    }  # fmt: skip
    assert document["instrument"]["reference_hz"] == 438.0
    (technique,) = document["notes"][0]["techniques"]
    assert set(technique) == {"kind", "start_s", "end_s", "semitones"}
    assert document["notes"][0]["pitch_midi"] == 62


def test_truth_of_a_dead_note_has_no_pitch():
    document = truth_document(play(note("0", "1", "3.7", Technique("dead_note"))))
    assert document["notes"][0]["pitch_midi"] is None


def test_truth_tells_the_flat_bend_that_was_played():
    document = truth_document(play(note("0", "2", "3.7", Technique("bend", semitones=1.4))))
    assert document["notes"][0]["techniques"][0]["semitones"] == 1.4


def test_same_seed_same_performance_other_seed_another():
    written = line(note("0", "1", "3.5"), note("1", "2", "3.7", BEND))
    style = PlayingStyle()
    first, again, other = perform(written, style, 5), perform(written, style, 5), perform(written, style, 6)
    assert truth_document(first) == truth_document(again)
    assert np.array_equal(first.notes[1].curve_semitones, again.notes[1].curve_semitones)
    assert truth_document(first) != truth_document(other)


def test_bad_style_is_told_with_its_bound():
    with pytest.raises(UsageError, match=r"timing_sd_s is 1; give 0 to 0\.1"):
        PlayingStyle(timing_sd_s=1)
    with pytest.raises(UsageError, match="bend_s"):
        PlayingStyle(bend_s=(0.3, 0.2))


@st.composite
def playable(draw):
    notes, at, before = [], Fraction(0), None
    for _ in range(draw(st.integers(1, 12))):
        length = draw(st.sampled_from([Fraction(1, 6), Fraction(1, 4), Fraction(1, 2), Fraction(2)]))
        string, fret = draw(st.integers(1, 6)), draw(st.integers(1, 20))
        choices = [(), (BEND,), (BEND, RELEASE, VIBRATO), (Technique("slide_out"),), (Technique("staccato"),)]
        if before is not None and before[0] == string and before[1] != fret:
            choices.append((Technique("slide", picked=draw(st.booleans())),))
            choices.append((Technique("hammer_on" if fret > before[1] else "pull_off"),))
        notes.append(note(str(at), str(length), f"{string}.{fret}", *draw(st.sampled_from(choices))))
        before = (string, fret)
        at += length
    return line(*notes, tempo=draw(st.sampled_from([60.0, 140.0])))


@settings(max_examples=60, deadline=None)
@given(playable(), st.integers(0, 1000))
def test_every_performance_is_sound(written, seed):
    performance = perform(written, PlayingStyle(timing_sd_s=0.02), seed)
    assert len(performance.notes) == len(written.notes)
    last_end: dict[int, float] = {}
    last_onset = -1.0
    for played in performance.notes:
        assert played.onset_s > last_onset
        assert played.end_s > played.onset_s
        assert played.curve_times_s[0] <= played.onset_s
        assert played.curve_times_s[-1] == played.end_s
        assert np.all(np.diff(played.curve_times_s) > 0)
        assert played.curve_times_s[0] >= last_end.get(played.string, 0.0) - 1e-9
        for technique in played.techniques:
            assert technique.start_s is not None
            assert technique.end_s is not None
            assert played.curve_times_s[0] - 1e-9 <= technique.start_s <= technique.end_s
            assert technique.end_s <= played.end_s + 1e-9
        last_end[played.string] = played.end_s
        last_onset = played.onset_s
