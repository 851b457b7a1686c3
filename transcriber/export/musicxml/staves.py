"""Staves of a part: which there are, their clefs, tuning and capo, key and meter at the start."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.etree.ElementTree import Element, SubElement

from transcriber.draft.document import Draft, DraftInstrument
from transcriber.export.musicxml.elements import add_text
from transcriber.export.pitch_names import fifths_of, spelled
from transcriber.export.sound import is_bass
from transcriber.settings import Staves

TAB_LINE = 5
"""The line that a tab clef is said to stand on, as the standard's own tutorial has it."""

LEAST_TAB_VOICE = 5
"""Voices of a second staff begin here at the earliest, as readers of two-staff parts expect."""


@dataclass(frozen=True)
class Staff:
    """One staff.

    Attributes
    ----------
    number : int
        From the top.
    tab : bool
    first_voice : int
        Voice of its first layer.
    bare : bool
        Whether it shows numbers and techniques alone, since another staff shows rhythm, rests and fingers.
    """

    number: int
    tab: bool
    first_voice: int
    bare: bool = False


def staves_of(wanted: Staves, layers: int) -> tuple[Staff, ...]:
    """Staves from the top; `layers` is how many voices each needs."""
    if wanted != "both":
        return (Staff(1, wanted == "tab", 1),)
    return (Staff(1, False, 1), Staff(2, True, max(LEAST_TAB_VOICE, layers + 1), bare=True))


def attributes(draft: Draft, staves: Sequence[Staff], divisions: int) -> Element:
    """Divisions, key, time, clefs and strings, as the first bar gives them."""
    made = Element("attributes")
    add_text(made, "divisions", str(divisions))
    if draft.key is not None:
        key = SubElement(made, "key")
        add_text(key, "fifths", str(fifths_of(draft.key)))
        add_text(key, "mode", draft.key.mode)
    time = SubElement(made, "time")
    add_text(time, "beats", str(draft.meter.beats))
    add_text(time, "beat-type", str(draft.meter.unit))
    if len(staves) > 1:
        add_text(made, "staves", str(len(staves)))
    made.extend(_clef(staff, draft.instrument) for staff in staves)
    made.extend(_strings(staff, draft.instrument) for staff in staves if staff.tab)
    return made


def _clef(staff: Staff, instrument: DraftInstrument) -> Element:
    """Clef; guitar and bass are written an octave above their sound, which the clef alone says."""
    clef = Element("clef", number=str(staff.number))
    if staff.tab:
        add_text(clef, "sign", "TAB")
        add_text(clef, "line", str(min(TAB_LINE, len(instrument.tuning_midi))))
        return clef
    bass = is_bass(instrument)
    add_text(clef, "sign", "F" if bass else "G")
    add_text(clef, "line", "4" if bass else "2")
    add_text(clef, "clef-octave-change", "-1")
    return clef


def _strings(staff: Staff, instrument: DraftInstrument) -> Element:
    details = Element("staff-details", number=str(staff.number))
    add_text(details, "staff-lines", str(len(instrument.tuning_midi)))
    for line, pitch in enumerate(reversed(instrument.tuning_midi), start=1):
        tuning = SubElement(details, "staff-tuning", line=str(line))
        name = spelled(pitch, None)
        add_text(tuning, "tuning-step", name.step)
        if name.alter:
            add_text(tuning, "tuning-alter", str(name.alter))
        add_text(tuning, "tuning-octave", str(name.octave))
    if instrument.capo:
        add_text(details, "capo", str(instrument.capo))
    return details
