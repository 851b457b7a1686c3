"""Sound of a performance, spliced from real recorded notes.

A picked note is a recorded one started at its measured onset, freed from its own tuning error and moved along
the note's pitch curve by resampling whose rate varies in time. What follows without being picked goes on on
the same string: a real hammered note where the set has one, else the same sound with the pitch stepped,
or a short crossfade into the sustained part of the new fret's note. Nothing here is shared with the
project's own synthesiser.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace

import numpy as np
from scipy import ndimage, signal

from tests.accuracy.note_bank import SAMPLE_RATE_HZ, Recorded, choose
from transcriber.records.line import Performance, PlayedNote

CROSSFADE_S = 0.006
DAMPING_S = 0.015
PICK_CONTACT_S = (0.002, 0.006, 0.010)  # the pick stops the string this long before it sounds anew; in turn
AFTER_ATTACK_S = 0.09
TAIL_S = 0.4
LEVEL_AT_100 = 0.09
WIDEST_CONTINUED_STEP = (
    2.0  # semitones that the same sound is stepped by; wider ones take the new fret's sound
)
FLOOR_DB = -74.0
NOISE_SNR_DB = 20.0
HUM_HZ = 50.0
HUM_DB = -32.0
DETUNE_SEMITONES = 0.35
DRIVE = 6.0
DRIVE_LOW_PASS_HZ = 4500.0


@dataclass(frozen=True)
class Ending:
    """When a note has faded out, and how long its fade is, in seconds."""

    until_s: float
    fade_s: float


@dataclass(frozen=True)
class Muting:
    """Times in which the sound below and above the corner falls to a third."""

    low_s: float
    high_s: float


# The heel of the hand at the bridge leaves a thud of a fifth of a second; fingers laid on the strings a
# click.
MUTINGS = {"palm_mute": Muting(0.07, 0.02), "dead_note": Muting(0.014, 0.008)}
MUTED_CORNER_HZ = 1200.0


@dataclass(frozen=True)
class Piece:
    """A stretch of one recorded note, laid into the take.

    Attributes
    ----------
    start : int
        First sample in the take.
    source : Recorded
    positions : ndarray of float64, shape (n,)
        Where in the source each sample is read.
    gain : float
    fade_in, fade_out : int
        Samples of raised-cosine fade.
    muted : Muting or None
        How a hand damps it.
    muted_from : int
        Sample of the piece from which it is damped: its onset.
    """

    start: int
    source: Recorded
    positions: np.ndarray
    gain: float
    fade_in: int
    fade_out: int
    muted: Muting | None = None
    muted_from: int = 0

    @property
    def stop(self) -> int:
        """Sample after the last."""
        return self.start + len(self.positions)

    def sound(self) -> np.ndarray:
        """Samples of the piece; silent where the source has ended."""
        read = ndimage.map_coordinates(self.source.samples, [self.positions], order=3, cval=0.0)
        read = self.gain * read.astype(np.float64)
        if self.muted is not None:
            read = _damped(read, self.muted, self.muted_from)
        rise = 0.5 - 0.5 * np.cos(np.pi * (np.arange(self.fade_in) + 0.5) / max(self.fade_in, 1))
        fall = 0.5 + 0.5 * np.cos(np.pi * (np.arange(self.fade_out) + 0.5) / max(self.fade_out, 1))
        read[: self.fade_in] *= rise[: len(read)]
        read[len(read) - self.fade_out :] *= fall[-len(read) :]
        return read


def _damped(sound: np.ndarray, muting: Muting, first: int) -> np.ndarray:
    """Let a sound die away from its onset, its high part sooner."""
    sos = signal.butter(2, MUTED_CORNER_HZ, "lowpass", fs=SAMPLE_RATE_HZ, output="sos")
    low = signal.sosfiltfilt(sos, sound)
    since = np.maximum(np.arange(len(sound)) - first, 0) / SAMPLE_RATE_HZ
    return low * np.exp(-since / muting.low_s) + (sound - low) * np.exp(-since / muting.high_s)


def splice(performance: Performance, set_name: str, effects: tuple[str, ...] = ()) -> np.ndarray:
    """Render a performance with the notes of one set.

    Parameters
    ----------
    performance : Performance
    set_name : str
        ``strat``, ``emily`` or ``green``.
    effects : tuple of str
        Any of ``drive``, ``noise``, ``hum``, ``detune``.

    Returns
    -------
    ndarray of float32, shape (n,)
        At 44,100 Hz.
    """
    detune = detune_of(performance, effects)
    pieces: list[Piece] = []
    for index, note in enumerate(performance.notes):
        following = performance.notes[index + 1] if index + 1 < len(performance.notes) else None
        ending = _ending(note, following, index)
        if note.picked or not pieces:
            if pieces and _glides(note):
                # The finger slides on the string that still sounds; then the pick strikes it anew.
                contact = Ending(note.onset_s - PICK_CONTACT_S[index % len(PICK_CONTACT_S)], CROSSFADE_S)
                pieces.append(_continue(note, pieces[-1], float(note.curve_times_s[0]), contact, detune))
            pieces.append(_picked(note, ending, set_name, detune, index))
        else:
            pieces += _unpicked(note, ending, set_name, detune, index, pieces[-1])
    out = np.zeros(int((performance.notes[-1].end_s + TAIL_S) * SAMPLE_RATE_HZ))
    for piece in pieces:
        sound = piece.sound()
        out[piece.start : piece.stop] += sound[: max(0, len(out) - piece.start)]
    return apply_effects(out, effects, zlib.crc32(performance.line.title.encode()))


def detune_of(performance: Performance, effects: tuple[str, ...]) -> float:
    """Semitones by which the whole guitar is off: 0, or 35 cents up or down."""
    if "detune" not in effects:
        return 0.0
    return DETUNE_SEMITONES if zlib.crc32(performance.line.title.encode()) % 2 else -DETUNE_SEMITONES


def apply_effects(sound: np.ndarray, effects: tuple[str, ...], seed: int) -> np.ndarray:
    """Drive, hum and noise, in that order; a faint noise floor always."""
    rng = np.random.default_rng(seed)
    if "drive" in effects:
        sound = _drive(sound)
    level = float(np.sqrt(np.mean(sound**2)))
    times = np.arange(len(sound)) / SAMPLE_RATE_HZ
    if "hum" in effects:
        hum = sum(np.sin(2 * np.pi * HUM_HZ * k * times + k) / k for k in (1, 2, 3, 5))
        sound = sound + hum * level * 10 ** (HUM_DB / 20) * np.sqrt(2)
    if "noise" in effects:
        sound = sound + rng.normal(0, level * 10 ** (-NOISE_SNR_DB / 20), len(sound))
    sound = sound + rng.normal(0, 10 ** (FLOOR_DB / 20), len(sound))
    peak = float(np.abs(sound).max())
    return (sound * min(1.0, 0.97 / peak)).astype(np.float32)


def _drive(sound: np.ndarray) -> np.ndarray:
    high = signal.butter(2, 90.0, "highpass", fs=SAMPLE_RATE_HZ, output="sos")
    low = signal.butter(4, DRIVE_LOW_PASS_HZ, "lowpass", fs=SAMPLE_RATE_HZ, output="sos")
    tight = signal.sosfilt(high, sound)
    loud = float(np.percentile(np.abs(tight), 95))
    return 0.35 * signal.sosfilt(low, np.tanh(DRIVE * tight / loud))


def _ending(note: PlayedNote, following: PlayedNote | None, turn: int) -> Ending:
    """Damped at its end; cut short by a pick on the same string; handed over to a slur or slide."""
    if following is None or following.string != note.string:
        return Ending(note.end_s + 0.5 * DAMPING_S, DAMPING_S)
    if not following.picked or _glides(following):
        return Ending(float(following.curve_times_s[0]) + 0.5 * CROSSFADE_S, CROSSFADE_S)
    if following.onset_s - note.end_s < DAMPING_S:
        return Ending(following.onset_s - PICK_CONTACT_S[turn % len(PICK_CONTACT_S)], CROSSFADE_S)
    return Ending(note.end_s + 0.5 * DAMPING_S, DAMPING_S)


def _glides(note: PlayedNote) -> bool:
    return note.onset_s - float(note.curve_times_s[0]) > 0.002


def _gain(note: PlayedNote) -> float:
    return LEVEL_AT_100 * (note.velocity / 100.0) ** 1.7


def _rates(note: PlayedNote, start: int, count: int, source: Recorded, detune: float) -> np.ndarray:
    times = (start + np.arange(count)) / SAMPLE_RATE_HZ
    curve = np.interp(times, note.curve_times_s, note.curve_semitones)
    return 2.0 ** ((note.pitch_midi + curve + detune - source.pitch) / 12.0)


def _picked(note: PlayedNote, ending: Ending, set_name: str, detune: float, turn: int) -> Piece:
    source = choose(set_name, note.pitch_midi, note.string, note.fret, note.velocity, "picked", turn)
    piece = _from_onset(note, ending, source, detune, _gain(note), SAMPLE_RATE_HZ // 500)
    muting = next((MUTINGS[t.kind] for t in note.techniques if t.kind in MUTINGS), None)
    return replace(piece, muted=muting, muted_from=round(note.onset_s * SAMPLE_RATE_HZ) - piece.start)


def _from_onset(
    note: PlayedNote, ending: Ending, source: Recorded, detune: float, gain: float, fade_in: int
) -> Piece:
    """Lay a recorded note so that its own onset falls on the played one; what precedes it is kept."""
    onset = round(note.onset_s * SAMPLE_RATE_HZ)
    rate = float(_rates(note, onset, 1, source, detune)[0])
    lead = min(int(source.onset / rate), onset)
    count = max(int(ending.until_s * SAMPLE_RATE_HZ) - onset, 64)
    forward = _rates(note, onset, count, source, detune)
    after = source.onset + np.concatenate([[0.0], np.cumsum(forward[:-1])])
    before = source.onset - rate * np.arange(lead, 0, -1)
    fade_out = _samples(ending.fade_s)
    positions = np.concatenate([before, after])
    return Piece(onset - lead, source, positions, gain, min(fade_in, lead + count), min(fade_out, count))


def _unpicked(
    note: PlayedNote, ending: Ending, set_name: str, detune: float, turn: int, before: Piece
) -> list[Piece]:
    """Carry the string's sound on: the glide of a slide first, then the new fret."""
    pieces: list[Piece] = []
    glide_s = note.onset_s - float(note.curve_times_s[0])
    if glide_s > 0.002:
        before = _continue(note, before, float(note.curve_times_s[0]), _handover(note), detune)
        pieces.append(before)
    step = abs(note.pitch_midi - before.source.pitch)
    left_s = (len(before.source.samples) - before.positions[-1]) / SAMPLE_RATE_HZ
    same_sound = (
        step <= WIDEST_CONTINUED_STEP
        and turn % 2 == 0
        and left_s > 1.3 * (ending.until_s - note.onset_s) + 0.07
    )
    hammered = set_name == "green" and any(t.kind == "hammer_on" for t in note.techniques)
    if hammered and ending.until_s - note.onset_s < 1.0:
        source = choose(set_name, note.pitch_midi, note.string, note.fret, 80, "hammered", turn)
        gain = 0.9 * _level_at_end(before) + 0.1 * _gain(note)
        pieces.append(_from_onset(note, ending, source, detune, gain, _samples(CROSSFADE_S)))
    elif same_sound:
        pieces.append(_continue(note, before, note.onset_s, ending, detune))
    else:
        pieces.append(_sustain(note, before, ending, set_name, detune, turn))
    return pieces


def _continue(note: PlayedNote, before: Piece, start_s: float, ending: Ending, detune: float) -> Piece:
    """Go on reading where the piece before stood at this time, at the new pitch."""
    start = round(start_s * SAMPLE_RATE_HZ) - _samples(CROSSFADE_S) // 2
    at = int(np.clip(start - before.start, 0, len(before.positions) - 1))
    overshoot = start - before.start - at
    count = max(int(ending.until_s * SAMPLE_RATE_HZ) - start, 64)
    rates = _rates(note, start, count, before.source, detune)
    positions = before.positions[at] + overshoot + np.concatenate([[0.0], np.cumsum(rates[:-1])])
    fade_in, fade_out = (min(_samples(fade_s), count // 2) for fade_s in (CROSSFADE_S, ending.fade_s))
    return Piece(start, before.source, positions, before.gain, fade_in, fade_out)


def _sustain(
    note: PlayedNote, before: Piece, ending: Ending, set_name: str, detune: float, turn: int
) -> Piece:
    """Crossfade into the new fret's note where its attack is over, at the level the string still has."""
    source = choose(set_name, note.pitch_midi, note.string, note.fret, note.velocity, "picked", turn)
    start = round(note.onset_s * SAMPLE_RATE_HZ) - _samples(CROSSFADE_S) // 2
    count = max(int(ending.until_s * SAMPLE_RATE_HZ) - start, 64)
    first = source.onset + int(AFTER_ATTACK_S * SAMPLE_RATE_HZ)
    positions = first + np.concatenate([[0.0], np.cumsum(_rates(note, start, count, source, detune)[:-1])])
    here = float(np.sqrt(np.mean(source.samples[first : first + _samples(0.03)] ** 2)))
    fade_in, fade_out = (min(_samples(fade_s), count // 2) for fade_s in (CROSSFADE_S, ending.fade_s))
    return Piece(start, source, positions, _level_at_end(before) / max(here, 1e-6), fade_in, fade_out)


def _handover(note: PlayedNote) -> Ending:
    """Where a glide gives way to the note it arrives at."""
    return Ending(note.onset_s + 0.5 * CROSSFADE_S, CROSSFADE_S)


def _level_at_end(piece: Piece) -> float:
    """RMS of the last 30 ms before the fade, as the piece stands in the take."""
    stop = int(
        np.clip(
            piece.positions[-1 - piece.fade_out if len(piece.positions) > piece.fade_out else -1], 64, 1e9
        )
    )
    heard = piece.source.samples[max(0, stop - _samples(0.03)) : stop]
    level = float(np.sqrt(np.mean(heard**2))) if len(heard) else 0.0
    return piece.gain * max(level, 0.05)


def _samples(seconds: float) -> int:
    return int(seconds * SAMPLE_RATE_HZ)
