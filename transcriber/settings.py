"""What a person may tell about a take before it is drafted, and about what is written of it, checked."""

from __future__ import annotations

import math
from dataclasses import dataclass, fields
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Literal, get_args

from transcriber.errors import UsageError
from transcriber.records.placed import NECK_FRETS
from transcriber.records.told import Told
from transcriber.records.written import COMMON_TIME, Meter

TEMPO_BOUNDS_BPM = (20.0, 400.0)
METER_BEATS = (1, 32)
METER_UNITS = (2, 4, 8, 16)
COUNT_IN_CLICKS = (2, 32)

PIN_STRINGS, PIN_FRETS = (1, 12), (0, 36)

WIDTH_BOUNDS = (60, 200)

MidiTiming = Literal["played", "written"]
MidiChannels = Literal["one", "string", "mpe"]
MidiSlurs = Literal["struck", "joined"]
Staves = Literal["both", "notation", "tab"]
Paper = Literal["a4", "letter"]
Ink = Literal["dark", "light"]
NeckMarks = Literal["degrees", "names", "frets"]
Hand = Literal["right", "left"]

Option = str | int | float | bool | tuple[str, ...] | tuple[float, ...] | None


@dataclass(frozen=True)
class Pin:
    """Where a person says that the note beginning at `time_s` (seconds in the file) is played.

    `string` 1 is the highest-sounding, `fret` counts from the capo.
    """

    time_s: float
    string: int
    fret: int

    def __post_init__(self) -> None:
        if not (math.isfinite(self.time_s) and self.time_s >= 0):
            raise UsageError(f"pin {self}: {self.time_s:g} s is not a time in a file; give 0 or more seconds")
        check_bounds(f"pin {self}: string", self.string, *PIN_STRINGS)
        check_bounds(f"pin {self}: fret", self.fret, *PIN_FRETS)

    def __str__(self) -> str:
        return f"{self.time_s:g}={self.string}/{self.fret}"


@dataclass(frozen=True)
class DraftSettings:
    """What shapes a draft, apart from the recording. What is None is found out or left alone.

    Attributes
    ----------
    tempo_bpm : float, (float, float) or None
        Tapped beats a minute, 20 to 400: dotted quarters in 6/8, 9/8 and 12/8. Two say between which it lies.
    meter : Meter or None
    pickup : Fraction or None
        Beats from the first note to bar 1, less than a bar; 0 for a line that begins in bar 1.
    count_in : int or None
        Clicks that lead to bar 1, one for each tapped beat, 2 to 32.
    beats_s : tuple of float
        Times of beats tapped by a person, ascending, seconds in the file.
    click : bool
        Whether a metronome sounds through the take.
    instrument : str
        Name of a built-in instrument, or path of an instrument file.
    tuning : str or None
        Open strings as text, such as "D2 A2 D3 G3 B3 E4"; replaces the instrument's.
    capo : int or None
        Fret of the capo; replaces the instrument's.
    frets : int or None
        Number of frets on the neck; replaces the instrument's.
    position : int or None
        Fret of the index finger at the start, counted from the capo; 0 for open position.
    pins : tuple of Pin
        Notes whose string and fret are known.
    start_s, end_s : float or None
        The part of the recording to draft, seconds in the file.
    chords : str or None
        Chords from bar 1 on, one a bar, such as "Am | F | C | G"; they begin again where they end. Symbols
        that share a bar share it equally, and ``/`` holds the one before.
    key : str or None
        Such as "A minor"; found if not given.

    Raises
    ------
    UsageError
        If a value is out of its bounds; the message names the nearest one that works.
    """

    tempo_bpm: float | tuple[float, float] | None = None
    meter: Meter | None = None
    instrument: str = "standard"
    tuning: str | None = None
    capo: int | None = None
    frets: int | None = None
    position: int | None = None
    start_s: float | None = None
    end_s: float | None = None
    chords: str | None = None
    key: str | None = None
    pins: tuple[Pin, ...] = ()
    pickup: Fraction | None = None
    count_in: int | None = None
    beats_s: tuple[float, ...] = ()
    click: bool = False

    def __post_init__(self) -> None:
        check_told(self.told)
        if self.frets is not None:
            _check_fret("frets", self.frets)
            check_bounds("frets", self.frets, *NECK_FRETS)
        _check_fret("position", self.position)
        _check_fret("capo", self.capo)
        for name, time in (("start", self.start_s), ("end", self.end_s)):
            if time is not None and not (math.isfinite(time) and time >= 0):
                raise UsageError(f"{name} {time:g} s is not a time in a file; give 0 or more seconds")
        if self.end_s is not None and self.end_s <= (self.start_s or 0.0):
            raise UsageError(
                f"end {self.end_s:g} s does not lie after start {self.start_s or 0.0:g} s; "
                f"give more than {self.start_s or 0.0:g}"
            )

    @property
    def told(self) -> Told:
        """What is said about the rhythm."""
        tempo = self.tempo_bpm
        return Told(
            tempo_bpm=tempo if tempo is None or isinstance(tempo, tuple) else (tempo, tempo),
            meter=self.meter,
            pickup=self.pickup,
            count_in=self.count_in,
            beats_s=self.beats_s,
            click=self.click,
        )

    def options(self) -> dict[str, Option]:
        """Return what was given, as plain values by name: they are recorded in the draft.

        An instrument file is named without its folder, so that a draft does not depend on the machine.
        """
        given: dict[str, Option] = {}
        for item in fields(self):
            value = getattr(self, item.name)
            given[item.name] = str(value) if isinstance(value, Meter | Fraction) else value
        given["pins"] = tuple(str(pin) for pin in self.pins)
        given["instrument"] = Path(self.instrument).name
        return given


@dataclass(frozen=True)
class ExportSettings:
    """How a draft is written, whatever the format; each format reads what concerns it.

    Attributes
    ----------
    width : int
        Longest line of text tab, 60 to 200 characters.
    count : bool
        Text tab and sheet: whether they show how the rhythm is counted aloud.
    timing : {"played", "written"}
        MIDI: notes sound when they were played, or on the grid at one tempo.
    channels : {"one", "string", "mpe"}
        MIDI: all notes on one channel, one channel for each string, or MPE.
    slurs : {"struck", "joined"}
        MIDI: a slurred or slid note is struck anew, or the note before it goes on and the wheel moves.
    staves : {"both", "notation", "tab"}
        MusicXML and sheet: notation and tab, or either alone.
    paper : {"a4", "letter"}
        Sheet.
    ink : {"dark", "light"}
        Phrase pictures: lines for a bright film, or for a dark one.
    marks : {"degrees", "names", "frets"}
        Pictures of the neck: what stands at a place.
    hand : {"right", "left"}
        Pictures of the neck: the hand that picks.

    Raises
    ------
    UsageError
        If a value is out of its bounds.
    """

    width: int = 80
    count: bool = False
    timing: MidiTiming = "played"
    channels: MidiChannels = "one"
    slurs: MidiSlurs = "struck"
    staves: Staves = "both"
    paper: Paper = "a4"
    ink: Ink = "dark"
    marks: NeckMarks = "degrees"
    hand: Hand = "right"

    def __post_init__(self) -> None:
        check_bounds("width", self.width, *WIDTH_BOUNDS, unit=" characters")
        for name, choices in EXPORT_CHOICES.items():
            value = getattr(self, name)
            if value not in choices:
                raise UsageError(f"{name} '{value}' is none of {', '.join(choices)}; choose one")


EXPORT_CHOICES: dict[str, tuple[str, ...]] = {
    "timing": get_args(MidiTiming),
    "channels": get_args(MidiChannels),
    "slurs": get_args(MidiSlurs),
    "staves": get_args(Staves),
    "paper": get_args(Paper),
    "ink": get_args(Ink),
    "marks": get_args(NeckMarks),
    "hand": get_args(Hand),
}
"""Values of each setting of `ExportSettings` that is chosen from a list; the first is the default."""


def told_options(told: Told) -> dict[str, Option]:
    """Return what was told of a rhythm, as plain values by name: they are recorded in the draft."""
    low, high = told.tempo_bpm or (None, None)
    given: dict[str, Option] = {
        "tempo_bpm": low if low is None or high is None or low == high else (low, high),
        "meter": None if told.meter is None else str(told.meter),
        "pickup": None if told.pickup is None else str(told.pickup),
        "downbeat_s": told.downbeat_s,
        "beats_s": told.beats_s or None,
    }
    return {name: value for name, value in given.items() if value is not None}


def check_told(told: Told, usual: Meter | None = COMMON_TIME) -> None:
    """Refuse what cannot be true of a rhythm.

    Parameters
    ----------
    told : Told
    usual : Meter or None
        The meter that holds where none is told; None where it is not known yet, and how long a pickup may be
        is left to `write_rhythm`.

    Raises
    ------
    UsageError
        The message names the nearest value that works.
    """
    for tempo in told.tempo_bpm or ():
        check_bounds("tempo", tempo, *TEMPO_BOUNDS_BPM, unit=" BPM")
    if told.tempo_bpm and told.tempo_bpm[0] > told.tempo_bpm[1]:
        low, high = told.tempo_bpm
        raise UsageError(f"tempo {low:g}-{high:g} runs downwards; give {high:g}-{low:g}")
    if told.meter is not None:
        check_meter(told.meter)
    meter = told.meter or usual
    if told.pickup is not None and meter is not None:
        beats = meter.beats
        if not 0 <= told.pickup < beats:
            raise UsageError(
                f"pickup {told.pickup} is not from 0 to less than the {beats} beats of a bar; "
                "give the beats from the first note to bar 1"
            )
    if told.count_in is not None:
        check_bounds("count-in", told.count_in, *COUNT_IN_CLICKS, unit=" clicks")
    if told.downbeat_s is not None and not (math.isfinite(told.downbeat_s) and told.downbeat_s >= 0):
        raise UsageError(f"downbeat {told.downbeat_s:g} s is not a time in a file; give 0 or more seconds")
    _check_beats(told.beats_s)
    ways = [told.count_in is not None, bool(told.beats_s), told.click]
    if told.beats_s and sum(ways) > 1:
        raise UsageError("tapped beats leave nothing to a count-in or a click; give one of them")


def _check_beats(beats_s: tuple[float, ...]) -> None:
    for number, time in enumerate(beats_s, 1):
        if not (math.isfinite(time) and time >= 0):
            raise UsageError(f"beat {number} at {time:g} s is not a time in a file; give 0 or more seconds")
    for number, (before, after) in enumerate(pairwise(beats_s), 2):
        if after <= before:
            raise UsageError(f"beat {number} at {after:g} s does not come after the one at {before:g} s")
    if len(beats_s) == 1:
        raise UsageError("one tapped beat tells no tempo; tap at least two, better all through the take")


def check_bounds(name: str, value: float, low: float, high: float, unit: str = "") -> None:
    """Refuse a number outside its bounds, and name the nearest one inside.

    Raises
    ------
    UsageError
    """
    if math.isnan(value):
        raise UsageError(f"{name} {value} is not a number; give {low:g} to {high:g}{unit}")
    if not low <= value <= high:
        nearest = low if value < low else high
        raise UsageError(
            f"{name} {value:.10g} is out of {low:.10g} to {high:.10g}{unit}; "
            f"the nearest that works is {nearest:.10g}"
        )


def _check_fret(name: str, fret: int | None) -> None:
    """Refuse what is no fret at all; how many the neck has, the instrument knows."""
    if fret is None:
        return
    if not fret >= 0:
        raise UsageError(f"{name} {fret:g} is below 0; the nearest that works is 0")
    if fret != int(fret):
        raise UsageError(f"{name} {fret:g} is not a whole fret; the nearest that works is {round(fret)}")


def check_meter(meter: Meter) -> None:
    """Refuse a meter that is not counted here, and name the nearest one that is.

    Raises
    ------
    UsageError
    """
    low, high = METER_BEATS
    if low <= meter.beats <= high and meter.unit in METER_UNITS:
        return
    beats = min(max(meter.beats, low), high)
    unit = min(METER_UNITS, key=lambda known: abs(math.log2(known / max(meter.unit, 1))))
    units = ", ".join(str(known) for known in METER_UNITS)
    raise UsageError(
        f"meter {meter} is out of {low} to {high} beats of {units}; the nearest that works is {beats}/{unit}"
    )
