"""The whole MusicXML document.

Task: hold in MusicXML 4.0 what a draft knows of the written music, so that a notation program opens it.
Conventions: `score-partwise`; one part, its staves a notation staff and a tab staff with the same notes;
pitches are as they sound under an octave clef; every note also tells string and fret. A file has no date, so
that the same draft gives the same bytes.
"""

from __future__ import annotations

from math import lcm
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from transcriber.draft.document import Draft
from transcriber.export.layers import LayeredScore, layered
from transcriber.export.musicxml.directions import Placed, placed_directions
from transcriber.export.musicxml.measures import Part, measure
from transcriber.export.musicxml.staves import attributes, staves_of
from transcriber.export.musicxml.techniques import linked_notes
from transcriber.export.plain_words import one_line, title_of
from transcriber.export.sound import is_bass, midi_program
from transcriber.settings import Staves

VERSION = "4.0"
PART = "P1"


def musicxml_bytes(draft: Draft, staves: Staves = "both") -> bytes:
    """Write a draft as MusicXML 4.0.

    Parameters
    ----------
    draft : Draft
    staves : {"both", "notation", "tab"}
        A notation staff over a tab staff, or either alone.

    Returns
    -------
    bytes
        UTF-8, valid against the W3C schema; the same for the same draft.

    Raises
    ------
    DraftError
        If a position or length of the draft cannot be written.
    """
    score = layered(draft)
    directions = placed_directions(draft, score.start)
    part = Part(
        draft,
        score,
        staves_of(staves, len(score.layers)),
        linked_notes(draft),
        directions,
        _divisions(score, directions),
    )
    root = Element("score-partwise", version=VERSION)
    SubElement(SubElement(root, "work"), "work-title").text = title_of(draft)
    _identification(root, draft)
    _part_list(root, draft)
    body = SubElement(root, "part", id=PART)
    for number in range(score.first_bar, score.last_bar + 1):
        body.append(measure(part, number))
    # Divisions are told in a quarter note, and counted here in a denominator beat.
    body[0].insert(0, attributes(draft, part.staves, part.divisions * draft.meter.unit // 4))
    indent(root)
    written: bytes = tostring(root, encoding="UTF-8", xml_declaration=True)
    return written + b"\n"


def _divisions(score: LayeredScore, directions: list[Placed]) -> int:
    """Divisions in a denominator beat so that every length is whole, and a quarter note too."""
    parts = [4, score.start.denominator, *(one.start.denominator for one in directions)]
    for layer in score.layers:
        for bar in layer.bars:
            parts += [piece.length.denominator for piece in bar.pieces]
            parts += [piece.start.denominator for piece in bar.pieces]
    return lcm(*parts)


def _identification(root: Element, draft: Draft) -> None:
    identification = SubElement(root, "identification")
    encoding = SubElement(identification, "encoding")
    SubElement(encoding, "software").text = one_line(f"transcriber {draft.made_by.version}")
    for name in ("accidental", "beam"):
        SubElement(encoding, "supports", element=name, type="yes")
    SubElement(identification, "source").text = one_line(draft.source.file)


def _part_list(root: Element, draft: Draft) -> None:
    family = "Bass guitar" if is_bass(draft.instrument) else "Guitar"
    name = one_line(draft.instrument.name) or family
    part = SubElement(SubElement(root, "part-list"), "score-part", id=PART)
    SubElement(part, "part-name").text = family
    SubElement(SubElement(part, "score-instrument", id=f"{PART}-I1"), "instrument-name").text = name
    midi = SubElement(part, "midi-instrument", id=f"{PART}-I1")
    SubElement(midi, "midi-channel").text = "1"
    SubElement(midi, "midi-program").text = str(midi_program(draft.instrument))
