"""The listening stage: from a take to its notes."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import zip_longest

import numpy as np
import numpy.typing as npt

from transcriber.listening.attacks import AttackStrength, attack_strength
from transcriber.listening.beginnings import read_beginnings
from transcriber.listening.confidence import onset_confidence, pitch_confidence, technique_confidence
from transcriber.listening.contour import semitones, tuning_reference_hz, with_steady_guesses
from transcriber.listening.inharmonicity import measure_inharmonicity
from transcriber.listening.natural_harmonics import touched_node
from transcriber.listening.octaves import without_octave_slips
from transcriber.listening.ornaments import with_ornaments
from transcriber.listening.overtones import without_overtones
from transcriber.listening.pieces import (
    attack_peaks,
    clear_attacks,
    find_pieces,
    fitted_decisions,
    typical_peak,
    typical_rise,
)
from transcriber.listening.pitch import PitchSettings, track_pitch
from transcriber.listening.settings import ListeningSettings, listening_settings
from transcriber.listening.several_strings import Together, hear_together
from transcriber.listening.short_notes import with_short_notes
from transcriber.listening.short_window import LOWEST_SEEN_HZ, ShortWindow
from transcriber.listening.signs import Sound
from transcriber.listening.strokes import NoteInMaking, read_strokes
from transcriber.listening.timbre import sound_alike
from transcriber.listening.touches import mark_muted, with_dead_notes, without_landings
from transcriber.listening.transitions import mark_shift_slides, settle_arrivals
from transcriber.listening.trills import find_trills
from transcriber.listening.unclear import unclear_notes
from transcriber.records.heard import Heard, HeardNote, PitchTrack, Stiffness
from transcriber.records.pitch import midi_to_hz
from transcriber.records.placed import Instrument
from transcriber.records.problem import Problem
from transcriber.records.take import Take
from transcriber.records.technique import Technique

# Shares of the loud sound with one clear pitch: below the first no note is believed, below the second the
# player is told. A clean line has 0.9 and more, a fast one with hard picking 0.78.
_HARDLY_A_LINE, _MOSTLY_A_LINE = 0.25, 0.6

_MOVING = ("bend", "pre_bend", "release", "vibrato", "slide_in", "slide_out", "trill")
_OFF_NOTE = 600.0  # cents: further off, the tracker followed another string
_STEADY_S = 0.12  # shortest note whose partials can be told apart

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Measured:
    """A take measured frame by frame, before anything is decided.

    Attributes
    ----------
    track : PitchTrack
    reference_hz : float
        Frequency of MIDI 69 on this take.
    sound : Sound
        Its pitch is in semitones at that reference, with the pitch of short notes filled in.
    window : ShortWindow
    hop : int
        Samples between frames.
    """

    track: PitchTrack
    reference_hz: float
    sound: Sound
    window: ShortWindow
    hop: int


def measure(take: Take, settings: PitchSettings) -> Measured:
    """Measure pitch and attacks of a take.

    Parameters
    ----------
    take : Take
        At the working rate of 22,050 Hz.
    settings : PitchSettings
    """
    track = track_pitch(take.samples, settings, take.start_s)
    strength = attack_strength(take.samples, settings.hop, take.sample_rate_hz)
    reference = tuning_reference_hz(track)
    window = ShortWindow(take.samples, take.sample_rate_hz, reference)
    pitch = with_steady_guesses(track, semitones(track, reference), reference, clear_attacks(strength))
    pitch = without_octave_slips(window, pitch, settings.hop)
    if settings.lowest_hz >= LOWEST_SEEN_HZ:
        pitch = with_short_notes(window, pitch, attack_peaks(strength), settings.hop)
    frame_s = settings.hop / take.sample_rate_hz
    clear = clear_attacks(strength)
    sound = Sound(
        pitch,
        track.voiced_probability,
        strength,
        frame_s,
        typical_rise(strength),
        typical_peak(strength.level_db, clear),
        typical_peak(strength.high_level_db, clear),
    )
    return Measured(track, reference, sound, window, settings.hop)


def listen(take: Take, instrument: Instrument) -> Heard:
    """Find the notes and techniques of a take.

    Parameters
    ----------
    take : Take
        At the working rate of 22,050 Hz.
    instrument : Instrument
        Bounds the pitches that are looked for.

    Returns
    -------
    Heard
    """
    settings = listening_settings()
    measured = measure(take, _pitch_range(take, instrument))
    together = _notes_in_making(take, measured, settings, instrument)
    making = together.notes
    track, sound, reference = measured.track, measured.sound, measured.reference_hz
    heard = [
        _finished(note, following, sound.pitch, track, sound.strength, settings)
        for note, following in zip_longest(making, making[1:])
    ]
    heard = [_if_harmonic(note, take, reference, instrument) for note in heard]
    notes = tuple(replace(note, stiffness=_stiffness(note, take, reference)) for note in heard)
    share = single_pitch_share(track)
    if share < _HARDLY_A_LINE:
        return Heard((), reference, track, _problems(share))
    problems = (*_problems(share), *together.problems)
    return Heard(notes, reference, track, (*problems, *unclear_notes(notes, problems)))


def _notes_in_making(
    take: Take, measured: Measured, settings: ListeningSettings, instrument: Instrument
) -> Together:
    """Cut the sound into pieces and read notes, beginnings, ornaments and double stops from them."""
    sound, times_s = measured.sound, measured.track.times_s
    pieces = find_pieces(sound, settings, fitted_decisions())
    making = read_strokes(pieces, sound.pitch, times_s, measured.window, measured.hop, settings)
    making = without_overtones(making, take, times_s, lambda midi: midi_to_hz(midi, measured.reference_hz))
    making = read_beginnings(making, measured.window, measured.hop)
    making = without_landings(making, sound.strength, sound.frame_s)
    settle_arrivals(making, measured.window, measured.hop, settings.widest_slur)
    mark_shift_slides(making, measured.window, measured.hop)

    def same_string(before: NoteInMaking, note: NoteInMaking) -> bool:
        f0_hz = midi_to_hz(note.pitch, measured.reference_hz)
        return sound_alike(take, float(times_s[before.last - 1]), float(times_s[note.onset]), f0_hz)

    making = with_ornaments(making, find_trills(sound), sound.frame_s, same_string)
    mark_muted(making, sound.strength)
    making = with_dead_notes(making, attack_peaks(sound.strength), sound.strength, sound.typical_rise)
    clear = clear_attacks(sound.strength)
    return hear_together(take, making, clear, measured.hop, measured.reference_hz, instrument, sound.pitch)


def _pitch_range(take: Take, instrument: Instrument) -> PitchSettings:
    """Look from a semitone below the lowest open string to two tones above the highest fret."""
    lowest = min(instrument.tuning_midi)
    highest = max(instrument.tuning_midi) + instrument.frets + 4
    low_hz = midi_to_hz(lowest - 1.5)
    high_hz = min(midi_to_hz(highest + 0.5), take.sample_rate_hz / 6)
    return PitchSettings(sample_rate_hz=take.sample_rate_hz, lowest_hz=min(low_hz, 77.0), highest_hz=high_hz)


def _finished(
    note: NoteInMaking,
    following: NoteInMaking | None,
    pitch: FloatArray,
    track: PitchTrack,
    strength: AttackStrength,
    settings: ListeningSettings,
) -> HeardNote:
    """Turn a note in making into a record, with its times, velocity, contour and confidence."""
    last = _end_frame(note, strength)
    if following is not None:
        last = min(last, max(following.onset, note.onset + 1))
    frames = slice(max(min(note.onset, last - 1), 0), max(last, note.onset + 1))
    times = np.array(track.times_s[frames])
    cents = 100.0 * (pitch[frames] - note.pitch)
    cents[np.abs(cents) > _OFF_NOTE] = np.nan
    times.flags.writeable = False
    cents.flags.writeable = False
    onset_s = float(track.times_s[note.onset])
    end_s = float(track.times_s[min(last, len(track.times_s) - 1)])
    return HeardNote(
        onset_s,
        max(end_s, onset_s + 0.01),
        note.pitch,
        _velocity(note, strength),
        tuple(note.techniques),
        times,
        cents,
        pitch_confidence(cents, track.voiced_probability[frames], note.techniques),
        onset_confidence(note.piece, note.picked, settings),
        technique_confidence(note.piece, note.picked, note.doubt),
        second_midi=note.beside,
    )


def _end_frame(note: NoteInMaking, strength: AttackStrength) -> int:
    """Frame at which a note stops: where its level falls off, if that is before its pitch is lost."""
    levels = strength.level_db[note.onset : note.last]
    if len(levels) < 8:
        return note.last
    # The pitch window outlives a damped string; the level tells when the hand stopped it.
    tail = levels[-12:]
    drop = np.nonzero(tail < tail[0] - 9.0)[0]
    return note.last - len(tail) + int(drop[0]) if len(drop) else note.last


def _velocity(note: NoteInMaking, strength: AttackStrength) -> int:
    """Velocity from the level of the attack: 127 at the take's loudest, halved every 15 dB."""
    begin = strength.level_db[note.onset : note.onset + 12]
    below = float(strength.level_db.max()) - float(begin.max(initial=-100.0))
    return int(np.clip(round(127 * 2 ** (-below / 15.0)), 1, 127))


def _if_harmonic(note: HeardNote, take: Take, reference_hz: float, instrument: Instrument) -> HeardNote:
    """Mark a plain note that was touched, not fretted."""
    if (
        note.has(*_MOVING, "dead_note", "palm_mute")
        or touched_node(take, note, reference_hz, instrument) is None
    ):
        return note
    kept = tuple(t for t in note.techniques if t.kind not in ("hammer_on", "pull_off", "slide"))
    return replace(note, techniques=(*kept, Technique("natural_harmonic")))


def _stiffness(note: HeardNote, take: Take, reference_hz: float) -> Stiffness | None:
    """Measure the string of a steady note; a moving pitch has no partials that stand still."""
    if note.has(*_MOVING) or note.end_s - note.onset_s < _STEADY_S:
        return None
    cents = note.contour_cents[~np.isnan(note.contour_cents)]
    if len(cents) < 8:
        return None
    midi = note.pitch_midi + float(np.median(cents)) / 100.0
    measured = measure_inharmonicity(
        take.samples,
        take.sample_rate_hz,
        midi_to_hz(midi, reference_hz),
        note.onset_s - take.start_s,
        note.end_s - take.start_s,
    )
    if measured is None:
        return None
    return Stiffness(measured.log10_b, measured.standard_error, measured.brightness, measured.f0_hz)


def single_pitch_share(track: PitchTrack) -> float:
    """Share of the loud frames that have one clear pitch, 0 to 1; 1 if nothing is loud."""
    loud = track.level_db > np.percentile(track.level_db, 95) - 20.0
    return float(np.mean(~np.isnan(track.frequency_hz[loud]))) if loud.any() else 1.0


def _problems(share: float) -> tuple[Problem, ...]:
    """Tell when much of the sound has no single pitch, as when chords are played."""
    if share >= _MOSTLY_A_LINE:
        return ()
    return (
        Problem(
            "not_a_line",
            f"only {share:.0%} of the sound has one clear pitch; chords, a band or noise are not read: "
            "the draft is made for one note at a time, so record the line alone",
        ),
    )
