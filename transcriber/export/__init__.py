"""Writers of the draft in formats that other programs and people read.

Every exporter takes a draft and returns what is to be written, as text or bytes; none opens a file.
`formats.FORMATS` lists them: adding one is one row. Names are loaded when they are first used, so that the
list costs nothing.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from transcriber.export.captions import captions
    from transcriber.export.formats import FORMATS, Format, formats_named
    from transcriber.export.jams import jams_bytes
    from transcriber.export.midi import MidiSettings, midi_bytes
    from transcriber.export.musicxml import musicxml_bytes
    from transcriber.export.note_table import note_table
    from transcriber.export.plot import PlotSettings, plot_png
    from transcriber.export.read_tab import ReadNote, ReadTab, read_text_tab
    from transcriber.export.tab import text_tab

__all__ = [
    "FORMATS",
    "Format",
    "MidiSettings",
    "PlotSettings",
    "ReadNote",
    "ReadTab",
    "captions",
    "formats_named",
    "jams_bytes",
    "midi_bytes",
    "musicxml_bytes",
    "note_table",
    "plot_png",
    "read_text_tab",
    "text_tab",
]

_HOMES = {
    "FORMATS": "transcriber.export.formats",
    "Format": "transcriber.export.formats",
    "MidiSettings": "transcriber.export.midi",
    "PlotSettings": "transcriber.export.plot",
    "captions": "transcriber.export.captions",
    "ReadNote": "transcriber.export.read_tab",
    "ReadTab": "transcriber.export.read_tab",
    "formats_named": "transcriber.export.formats",
    "jams_bytes": "transcriber.export.jams",
    "midi_bytes": "transcriber.export.midi",
    "musicxml_bytes": "transcriber.export.musicxml",
    "note_table": "transcriber.export.note_table",
    "plot_png": "transcriber.export.plot",
    "read_text_tab": "transcriber.export.read_tab",
    "text_tab": "transcriber.export.tab",
}


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(_HOMES[name]), name)
    globals()[name] = value
    return value
