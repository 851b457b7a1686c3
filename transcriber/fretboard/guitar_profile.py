"""Measuring a player's own guitar: from labelled notes of a recording to what each string is like.

The player says which notes come in which order; listening says what sounded. The two are aligned by pitch,
as dynamic programming over "play the next expected note", "play the same one again", "leave one out" and "a
sound that belongs to none", so that a repeated, missed or stray note spoils nothing but itself.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
import numpy.typing as npt

from transcriber.errors import UsageError
from transcriber.fretboard.stiffness import at_the_nut
from transcriber.records.heard import Heard, HeardNote
from transcriber.records.pitch import A4_MIDI, hz_to_midi
from transcriber.records.placed import Instrument, MeasuredString

FretPlace = tuple[int, int]

OCTAVE_FRET = 12
# A sound this far from an expected note, in semitones, is not it; a string may be most of a semitone off.
_FURTHEST_SEMITONES = 0.9
# Costs of the alignment, in semitones: an expected note left out, a sound that belongs to none, a note again.
_MISSED, _STRAY, _AGAIN = 1.0, 0.6, 0.05
# The attack is sharp and the end is weak: pitch is read between these, seconds after the onset.
_READ_S = (0.15, 2.0)
_FEWEST_FRAMES = 8
# A median of absolute deviations times this is a standard deviation for normal errors.
_MAD_TO_SD = 1.4826
# One note says nothing about its own spread; twice the floor of what a measured string is trusted to.
_ONE_NOTE_SD = 0.08
# What the alignment chose for a sound (1 is the same note again).
_PLAYED, _NO_NOTE, _LEFT_OUT = 0, 2, 3
_WORD = re.compile(r"(\d{1,2})/(\d{1,2})", flags=re.ASCII)


@dataclass(frozen=True)
class UsedNote:
    """A sound that was measured as the note of a place."""

    place: FretPlace
    note: HeardNote
    cents: float | None


@dataclass(frozen=True)
class GuitarProfile:
    """What a recording told of a guitar.

    Attributes
    ----------
    strings : tuple of (MeasuredString or None)
        String 1 first; None where nothing was heard of a string.
    used : tuple of UsedNote
        In order of onset.
    missing : tuple of (int, int)
        Expected (string, fret) that were not heard.
    stray : tuple of HeardNote
        Sounds that belong to no expected note.
    """

    strings: tuple[MeasuredString | None, ...]
    used: tuple[UsedNote, ...]
    missing: tuple[FretPlace, ...]
    stray: tuple[HeardNote, ...]

    @property
    def found(self) -> int:
        """How many of the expected places were heard."""
        return len({use.place for use in self.used})

    @property
    def half_missing(self) -> bool:
        """Whether half of the expected places or more were not heard."""
        return len(self.missing) >= self.found


def expected_places(instrument: Instrument) -> tuple[FretPlace, ...]:
    """Each string from the lowest up, open and then at the octave."""
    strings = range(len(instrument.tuning_midi), 0, -1)
    frets = (0, OCTAVE_FRET) if instrument.highest_fret >= OCTAVE_FRET else (0,)
    return tuple((string, fret) for string in strings for fret in frets)


def parse_places(text: str, instrument: Instrument) -> tuple[FretPlace, ...]:
    """Read places such as ``"6/0 6/12 5/0"``, string before fret.

    Raises
    ------
    UsageError
        If a word is no place, or the instrument does not have it.
    """
    places = []
    for word in re.findall(r"[^\s,]+", text):
        match = _WORD.fullmatch(word)
        if match is None:
            raise UsageError(f"note '{word}' is not string/fret; write the notes like '6/0 6/12 5/0'")
        string, fret = int(match[1]), int(match[2])
        if not 1 <= string <= len(instrument.tuning_midi):
            raise UsageError(f"string {string} in '{word}' is out of 1 to {len(instrument.tuning_midi)}")
        if fret > instrument.highest_fret:
            raise UsageError(f"fret {fret} in '{word}' is out of 0 to {instrument.highest_fret}")
        places.append((string, fret))
    if not places:
        raise UsageError("no notes were named; write them in the order played, like '6/0 6/12 5/0'")
    return tuple(places)


def profile_guitar(heard: Heard, instrument: Instrument, expected: Sequence[FretPlace]) -> GuitarProfile:
    """Measure each string from the notes of a recording.

    Parameters
    ----------
    heard : Heard
    instrument : Instrument
        Says what the strings are tuned to, more or less.
    expected : sequence of (int, int)
        (string, fret) in the order played.

    Returns
    -------
    GuitarProfile
    """
    wanted = [float(instrument.open_midi(string) + fret) for string, fret in expected]
    sounded = [_sounding_midi(note, heard.reference_hz) for note in heard.notes]
    matches = align(sounded, wanted)
    used, stray = [], []
    for note, midi, match in zip(heard.notes, sounded, matches, strict=True):
        if match is None:
            stray.append(note)
            continue
        steady = len(_steady_cents(note)) >= _FEWEST_FRAMES
        cents = 100.0 * (midi - wanted[match]) if steady else None
        used.append(UsedNote(expected[match], note, cents))
    found = {use.place for use in used}
    return GuitarProfile(
        strings=tuple(
            _measure_string([use for use in used if use.place[0] == string], instrument.capo)
            for string in range(1, len(instrument.tuning_midi) + 1)
        ),
        used=tuple(used),
        missing=tuple(place for place in dict.fromkeys(expected) if place not in found),
        stray=tuple(stray),
    )


def align(sounded: Sequence[float], wanted: Sequence[float]) -> list[int | None]:
    """Align sounds with the notes wanted, both in order, by least cost.

    Parameters
    ----------
    sounded, wanted : sequence of float
        MIDI numbers.

    Returns
    -------
    list of (int or None)
        For each sound the index of the note wanted, None where it is none. One note may have several sounds.

    Examples
    --------
    >>> align([40.1, 52.0, 52.0, 47.3, 57.1], [40.0, 52.0, 45.0, 57.0])
    [0, 1, 1, None, 3]
    """
    # cost[j]: the sounds so far are told, the first j notes wanted are played or left out.
    cost = np.arange(len(wanted) + 1) * _MISSED
    choices = []
    for midi in sounded:
        off = np.abs(midi - np.asarray(wanted, dtype=np.float64))
        off[off > _FURTHEST_SEMITONES] = np.inf
        played = np.concatenate([[np.inf], cost[:-1] + off])
        again = np.concatenate([[np.inf], cost[1:] + off + _AGAIN])
        options = np.stack([played, again, cost + _STRAY])
        choice = np.argmin(options, axis=0)
        cost = options.min(axis=0)
        for j in range(1, len(cost)):
            if cost[j - 1] + _MISSED < cost[j]:
                cost[j], choice[j] = cost[j - 1] + _MISSED, _LEFT_OUT
        choices.append(choice)
    return _read_back(choices, len(wanted))


def _read_back(choices: Sequence[npt.NDArray[np.int64]], last: int) -> list[int | None]:
    matches: list[int | None] = []
    j = last
    for choice in reversed(choices):
        while choice[j] == _LEFT_OUT:
            j -= 1
        matches.append(None if choice[j] == _NO_NOTE else j - 1)
        if choice[j] == _PLAYED:
            j -= 1
    return matches[::-1]


def _steady_cents(note: HeardNote) -> list[float]:
    since = note.contour_times_s - note.onset_s
    chosen = (since >= _READ_S[0]) & (since <= _READ_S[1]) & ~np.isnan(note.contour_cents)
    return [float(cents) for cents in note.contour_cents[chosen]]


def _sounding_midi(note: HeardNote, reference_hz: float) -> float:
    """Pitch that a tuner would read, as a MIDI number at A4 = 440 Hz.

    A pitch tracker hears a stiff string some cents too sharp, as its partials are: where the fundamental was
    measured, that stands.
    """
    if note.stiffness is not None and note.stiffness.f0_hz is not None:
        return hz_to_midi(note.stiffness.f0_hz)
    cents = _steady_cents(note)
    read = median(cents) if len(cents) >= _FEWEST_FRAMES else 0.0
    return note.pitch_midi + read / 100.0 + hz_to_midi(reference_hz) - A4_MIDI


def _measure_string(notes: Sequence[UsedNote], capo: int) -> MeasuredString | None:
    if not notes:
        return None
    sounds = [(use.place[1], use.note.stiffness) for use in notes if use.note.stiffness is not None]
    log10_b = [at_the_nut(sound.log10_b, fret, capo) for fret, sound in sounds]
    errors = [sound.standard_error for _, sound in sounds]
    brightness = [sound.brightness for _, sound in sounds if sound.brightness is not None]
    return MeasuredString(
        log10_b=_rounded(median(log10_b), 4) if log10_b else None,
        log10_b_sd=_rounded(_spread(log10_b, errors), 4) if log10_b else None,
        tuning_cents=_tuning(notes),
        intonation_cents=_intonation(notes),
        brightness=_rounded(median(brightness), 3) if brightness else None,
        notes=len(notes),
    )


def _spread(values: Sequence[float], errors: Sequence[float]) -> float:
    """Robust standard deviation of a string's notes, with the error of their middle."""
    centre = median(values)
    own = _MAD_TO_SD * median(abs(value - centre) for value in values) if len(values) > 1 else _ONE_NOTE_SD
    return math.hypot(own, median(errors) / math.sqrt(len(values)))


def _tuning(notes: Sequence[UsedNote]) -> float | None:
    read = [use for use in notes if use.cents is not None]
    if not read:
        return None
    lowest = min(use.place[1] for use in read)
    return _cents_at(read, lowest)


def _intonation(notes: Sequence[UsedNote]) -> float | None:
    # Pitches read in two ways differ by some cents: only what was read in the same way is compared.
    for by_partials in (True, False):
        alike = [use for use in notes if (use.note.stiffness is not None) == by_partials]
        octave, whole = _cents_at(alike, OCTAVE_FRET), _cents_at(alike, 0)
        if octave is not None and whole is not None:
            return _rounded(octave - whole, 1)
    return None


def _cents_at(notes: Sequence[UsedNote], fret: int) -> float | None:
    cents = [use.cents for use in notes if use.place[1] == fret and use.cents is not None]
    return _rounded(median(cents), 1) if cents else None


def _rounded(value: float, digits: int) -> float:
    return round(float(value), digits)
