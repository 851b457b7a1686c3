from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.signal import butter, sosfilt
from synthesis_lines import line, note

from transcriber.errors import UsageError
from transcriber.records.pitch import midi_to_hz
from transcriber.records.technique import Technique
from transcriber.synthesis import EXACT, TONES, PlayingStyle, Tone, perform, render_performance
from transcriber.synthesis.resonance import BLOCK, partial_sum
from transcriber.synthesis.string_model import (
    decay_rates,
    inharmonicity_at_fret,
    partial_ratios,
    string_for,
)

RATE = 44100
SILENT = Tone(hum_db=-120.0, noise_db=-120.0, pick_noise_db=-120.0)


def sound_of(*notes, tone=SILENT, seed=1, tempo=60.0, style=EXACT):
    performance = perform(line(*notes, tempo=tempo), style, seed)
    return performance, render_performance(performance, tone, seed)


def between(sound, start_s, end_s):
    return sound[round(start_s * RATE) : round(end_s * RATE)].astype(np.float64)


def peak_near(sound, expected_hz, within=0.03):
    """Frequency of the strongest partial near `expected_hz`, by parabolic interpolation."""
    count = 1 << 19
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), count))
    low, high = (round(expected_hz * f * count / RATE) for f in (1 - within, 1 + within))
    k = low + int(np.argmax(spectrum[low:high]))
    a, b, c = np.log(spectrum[k - 1 : k + 2])
    return (k + 0.5 * (a - c) / (a - 2 * b + c)) * RATE / count


def level_db(sound):
    return 10 * np.log10(np.mean(sound**2) + 1e-20)


def high_band(sound, corner_hz):
    return sosfilt(butter(4, corner_hz, "highpass", fs=RATE, output="sos"), sound)


def test_a_sweep_has_the_closed_form_of_its_phase():
    # Frequency a + b k gives phase a k + b k^2 / 2, whatever the blocks.
    blocks = 40
    start, end = 0.01, 0.21
    edges = np.linspace(start, end, blocks + 1)[None, :]
    made = partial_sum(edges, np.ones((1, blocks + 1)))
    k = np.arange(blocks * BLOCK)
    phase = start * k + (end - start) / len(k) * k**2 / 2
    assert made == pytest.approx(np.sin(2 * np.pi * phase), abs=1e-4)


@pytest.mark.parametrize("fret", [2, 8])
def test_partials_lie_where_the_formula_puts_them(fret):
    _, sound = sound_of(note("0", "3", f"3.{fret}"))
    f1 = midi_to_hz(55 + fret)
    stiffness = inharmonicity_at_fret(string_for(55).inharmonicity, fret)
    ratios = partial_ratios(12, stiffness)
    held = between(sound, 0.45, 1.6)
    for n in (1, 2, 4, 7, 12):
        expected = f1 * ratios[n - 1] / ratios[0]
        assert peak_near(held, expected, 0.006) == pytest.approx(expected, rel=4e-4)
    # The test can tell a stiff string from a limp one.
    assert ratios[11] / ratios[0] > 12 * 1.005


def test_a_harmonic_sounds_the_open_strings_own_partials():
    # Touched over fret 7, every third partial of the open string is left.
    _, sound = sound_of(note("0", "3", "6.7", Technique("natural_harmonic")))
    spec = string_for(40)
    open_f0 = midi_to_hz(40) * 3.0 / partial_ratios(3, spec.inharmonicity)[2]
    for n in (3, 6, 12):
        expected = open_f0 * partial_ratios(n, spec.inharmonicity)[-1]
        assert peak_near(between(sound, 0.45, 1.6), expected, 0.006) == pytest.approx(expected, rel=4e-4)


def test_a_bend_sounds_two_semitones_higher():
    performance, sound = sound_of(note("0", "3", "3.7", Technique("bend", semitones=2.0)))
    bend = performance.notes[0].techniques[0]
    top = peak_near(between(sound, bend.end_s, bend.end_s + 0.8), midi_to_hz(64))
    assert 12 * np.log2(top / midi_to_hz(62)) == pytest.approx(2.0, abs=0.02)


def test_the_fundamental_decays_as_the_model_says():
    _, sound = sound_of(note("0", "4", "3.7"))
    f1 = midi_to_hz(62)

    def amplitude(start_s):
        piece = between(sound, start_s, start_s + 0.1)
        time_s = np.arange(len(piece)) / RATE
        return np.abs(np.sum(piece * np.hanning(len(piece)) * np.exp(-2j * np.pi * f1 * time_s)))

    measured = np.log(amplitude(0.5) / amplitude(2.5)) / 2.0
    model = decay_rates(f1, np.array([f1]), 1.0)[0]
    assert measured == pytest.approx(model, rel=0.5)
    assert measured > 0.5


def test_high_partials_fade_before_low_ones():
    _, sound = sound_of(note("0", "4", "3.7"))

    def high_share(start_s):
        piece = between(sound, start_s, start_s + 0.2)
        return level_db(high_band(piece, 2500)) - level_db(piece)

    assert high_share(0.45) > high_share(1.5) + 6


def test_there_is_silence_before_between_and_after():
    performance, sound = sound_of(note("0", "1/2", "3.7"), note("2", "1/2", "3.7"))
    first, second = performance.notes
    loud = level_db(between(sound, first.onset_s, first.onset_s + 0.2))
    assert np.all(between(sound, 0.0, first.onset_s - 0.01) == 0.0)
    assert level_db(between(sound, first.end_s + 0.25, second.onset_s - 0.02)) < loud - 60
    assert level_db(between(sound, second.end_s + 0.3, len(sound) / RATE)) < loud - 60


@pytest.mark.parametrize("tone", ["clean", "driven"])
def test_a_picked_note_begins_at_its_onset(tone):
    performance, sound = sound_of(note("0", "1", "6.3"), note("2", "1", "1.12"), tone=TONES[tone])
    for played in performance.notes:
        attack = np.abs(between(sound, played.onset_s - 0.03, played.onset_s + 0.05))
        first = np.argmax(attack > 0.3 * attack.max()) / RATE - 0.03
        assert -0.004 < first < 0.006


def test_a_hammer_on_is_weaker_and_duller_than_a_pick():
    hammer = Technique("hammer_on")
    _, slurred = sound_of(note("0", "1", "3.5"), note("1", "1", "3.7", hammer), tone=Tone(noise_db=-120.0))
    _, picked = sound_of(note("0", "1", "3.5"), note("1", "1", "3.7"), tone=Tone(noise_db=-120.0))
    attack = (1.395, 1.425)
    assert level_db(high_band(between(slurred, *attack), 3000)) < (
        level_db(high_band(between(picked, *attack), 3000)) - 6
    )


def test_bends_and_slides_make_no_clicks():
    notes = (
        note("0", "2", "3.5", Technique("bend", semitones=2.0), Technique("release")),
        note("2", "2", "3.9", Technique("slide", picked=False)),
    )
    performance, sound = sound_of(*notes)
    bend = performance.notes[0].techniques[0]
    hiss = high_band(between(sound, 0.3, 4.0), 10000)
    moving = between(hiss, bend.start_s - 0.3, bend.end_s - 0.3)
    # Nothing above the highest partial, while every partial is on the move.
    assert level_db(moving) < level_db(between(sound, bend.start_s, bend.end_s)) - 70


def test_slurs_keep_the_string_ringing():
    pull = Technique("pull_off")
    performance, sound = sound_of(note("0", "1", "3.9"), note("1", "1", "3.7", pull))
    at = performance.notes[1].onset_s
    levels = [level_db(between(sound, at + k * 0.01, at + (k + 1) * 0.01)) for k in range(-3, 6)]
    assert min(levels) > max(levels) - 15


def test_a_dead_note_is_short_and_a_palm_mute_shorter_than_an_open_ring():
    def ring(kind):
        techniques = (Technique(kind),) if kind else ()
        _, sound = sound_of(note("0", "2", "5.3", *techniques))
        return level_db(between(sound, 0.7, 0.9)) - level_db(between(sound, 0.4, 0.45))

    assert ring("dead_note") < ring("palm_mute") - 20
    assert ring("palm_mute") < ring(None) - 10


@pytest.mark.parametrize("name", list(TONES))
def test_no_peak_above_minus_one_decibel(name):
    notes = (note("0", "1", "6.0"), note("1", "1", "1.17"))
    tone = replace(TONES[name], peak_db=-1.0, noise_db=-30.0)
    _, sound = sound_of(*notes, tone=tone, style=PlayingStyle())
    assert np.abs(sound).max() <= 10 ** (-1 / 20) + 1e-6
    assert np.abs(sound).max() > 10 ** (-1.1 / 20)
    assert np.all(np.isfinite(sound))
    with pytest.raises(UsageError, match="peak_db is 0; give -40 to -1"):
        replace(tone, peak_db=0)


def test_drive_squashes_the_dynamics():
    _, clean = sound_of(note("0", "2", "4.7"), tone=SILENT)
    _, driven = sound_of(note("0", "2", "4.7"), tone=replace(SILENT, drive=0.9))

    def fall(sound):
        return level_db(between(sound, 0.4, 0.5)) - level_db(between(sound, 1.8, 1.9))

    assert fall(driven) < fall(clean) / 2


def test_detuning_moves_the_whole_guitar():
    _, sound = sound_of(note("0", "3", "3.2"), tone=replace(SILENT, detune_cents=-30.0))
    heard = peak_near(between(sound, 0.5, 2.0), midi_to_hz(57))
    assert 1200 * np.log2(heard / 220.0) == pytest.approx(-30.0, abs=1.0)


def test_same_seed_same_samples_other_seed_others():
    performance = perform(line(note("0", "1", "3.5"), note("1", "1", "2.5")), EXACT, 1)
    first = render_performance(performance, Tone(), 3)
    assert first.dtype == np.float32
    assert first.tobytes() == render_performance(performance, Tone(), 3).tobytes()
    assert first.tobytes() != render_performance(performance, Tone(), 4).tobytes()


def test_other_sample_rates():
    performance = perform(line(note("0", "2", "3.2")), EXACT, 1)
    sound = render_performance(performance, SILENT, 1, sample_rate_hz=22050)
    spectrum = np.abs(np.fft.rfft(sound[11025:33075]))
    # One second at bins of 1 Hz; fret 2 on string 3 is A3.
    assert abs(150 + np.argmax(spectrum[150:300]) - 220) <= 1
    with pytest.raises(UsageError, match="sample rate is 8000 Hz; give 16000 to 96000"):
        render_performance(performance, SILENT, 1, sample_rate_hz=8000)
