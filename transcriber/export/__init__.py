"""Writers of the draft in formats that other programs and people read.

Every exporter takes a draft and returns what is to be written, as text or bytes; none opens a file.
`EXPORTERS` lists them: adding one is one line.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from transcriber.draft.document import Draft
from transcriber.export.midi import midi_bytes
from transcriber.export.plot import PlotSettings, plot_png
from transcriber.export.tab import text_tab

__all__ = ["EXPORTERS", "Exporter", "PlotSettings", "midi_bytes", "plot_png", "text_tab"]


@dataclass(frozen=True)
class Exporter:
    """One format.

    Attributes
    ----------
    name : str
        What people call it on the command line.
    suffix : str
        Of the file's name, dot included.
    write : callable
        From a draft to the file's content.
    """

    name: str
    suffix: str
    write: Callable[[Draft], str | bytes]


EXPORTERS: tuple[Exporter, ...] = (
    Exporter("tab", ".tab.txt", text_tab),
    Exporter("midi", ".mid", midi_bytes),
    Exporter("plot", ".png", plot_png),
)
