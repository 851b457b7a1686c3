"""The formats that a draft is written in: one row each, and the only list of them.

Rows name no heavy library: each writer imports what it needs when it is called, so that the command line can
list the formats at once.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from transcriber.errors import UsageError
from transcriber.settings import ExportSettings

if TYPE_CHECKING:
    from transcriber.draft.document import Draft

Written = dict[str, bytes]
"""Content of each file, by what follows NAME in the file's name."""

# What an engraved format needs: the module, and the extra that installs it.
_ENGRAVER = ("lilypond", "sheet")


@dataclass(frozen=True)
class Format:
    """One format.

    Attributes
    ----------
    name : str
        What it is called on the command line.
    suffix : str
        What follows NAME in the file's name. A format of several files has none.
    about : str
        What it is, in a few words for `--help`; what it leaves out, if that may surprise.
    write : callable
        From a draft, its journal applied, to the files; raises `DraftError` or `UsageError` if it can't.
    text : bool
        Whether it can be shown on a terminal.
    needs : (str, str) or None
        A module it cannot do without, and the extra that installs it.
    numbered : str or None
        For a format of several files: what follows NAME in theirs, as a regular expression whose one group is
        the number, empty where there is only one file.
    """

    name: str
    suffix: str
    about: str
    write: Callable[[Draft, ExportSettings], Written]
    text: bool = False
    needs: tuple[str, str] | None = None
    numbered: str | None = None

    def check_installed(self) -> None:
        """Refuse a format whose module is not installed, before any work is done for it.

        Raises
        ------
        UsageError
        """
        from importlib.util import find_spec

        if self.needs is not None and find_spec(self.needs[0]) is None:
            module, extra = self.needs
            how = f"pip install 'transcriber[{extra}]'"
            raise UsageError(f"the format '{self.name}' needs {module}: install it with  {how}")

    @property
    def single(self) -> bool:
        """Whether it is one file whose name is known beforehand."""
        return bool(self.suffix)


def _text(draft: Draft, settings: ExportSettings) -> Written:
    from transcriber.export.tab import text_tab

    return {".tab.txt": text_tab(draft, settings.width, settings.count).encode("utf-8")}


def _midi(draft: Draft, settings: ExportSettings) -> Written:
    from transcriber.export.midi import MidiSettings, midi_bytes

    chosen = MidiSettings(settings.timing, settings.channels, settings.slurs)
    return {".mid": midi_bytes(draft, chosen)}


def _musicxml(draft: Draft, settings: ExportSettings) -> Written:
    from transcriber.export.musicxml import musicxml_bytes

    return {".musicxml": musicxml_bytes(draft, settings.staves)}


def _sheet(form: str) -> Callable[[Draft, ExportSettings], Written]:
    def write(draft: Draft, settings: ExportSettings) -> Written:
        from transcriber.export.sheet.engrave import engrave
        from transcriber.export.sheet.page import sheet_source

        source = sheet_source(draft, settings.staves, settings.paper, settings.count)
        return {f".sheet{page}": data for page, data in engrave(source, form).items()}

    return write


def _phrases(draft: Draft, settings: ExportSettings) -> Written:
    from transcriber.export.sheet.phrase_pictures import phrase_pictures

    return phrase_pictures(draft, settings.ink)


def _plot(draft: Draft, settings: ExportSettings) -> Written:
    from transcriber.export.plot import plot_png

    return {".plot.png": plot_png(draft)}


def _necks(draft: Draft, settings: ExportSettings) -> Written:
    from transcriber.export.neck_picture import PictureSettings, neck_pictures

    return neck_pictures(draft, PictureSettings(settings.marks, settings.hand))


def _jams(draft: Draft, settings: ExportSettings) -> Written:
    from transcriber.export.jams import jams_bytes

    return {".jams": jams_bytes(draft)}


def _captions(draft: Draft, settings: ExportSettings) -> Written:
    from transcriber.export.captions import captions

    return {".vtt": captions(draft).encode("utf-8")}


def _note_table(draft: Draft, settings: ExportSettings) -> Written:
    from transcriber.export.note_table import note_table

    return {".notes.csv": note_table(draft).encode("utf-8")}


def _sheet_pages(form: str) -> Format:
    """Row of the sheet's pages as pictures of a form."""
    return Format(
        f"sheet-{form}",
        "",
        f"the sheet's pages as {form.upper()}",
        _sheet(form),
        needs=_ENGRAVER,
        numbered=rf"\.sheet(?:-(\d+))?\.{form}",
    )


FORMATS: tuple[Format, ...] = (
    Format("text", ".tab.txt", "text tab", _text, text=True),
    Format("midi", ".mid", "MIDI; no string, fret or written technique", _midi),
    Format(
        "musicxml",
        ".musicxml",
        "notation and tab for a notation program; no pitch curves",
        _musicxml,
        text=True,
    ),
    Format("sheet", ".sheet.pdf", "engraved sheet (PDF)", _sheet("pdf"), needs=_ENGRAVER),
    _sheet_pages("svg"),
    _sheet_pages("png"),
    Format(
        "phrases",
        "",
        "tab picture of each phrase, transparent, with times (JSON)",
        _phrases,
        needs=_ENGRAVER,
        numbered=r"\.phrase-(\d+)\.png",
    ),
    Format(
        "necks",
        "",
        "picture of the neck for each shape that is played out of (SVG)",
        _necks,
        numbered=r"\.neck-(\d+)\.svg",
    ),
    Format("jams", ".jams", "JAMS, for research: notes, pitch curves, beats, key, chords", _jams, text=True),
    Format("captions", ".vtt", "captions for a video (WebVTT): phrase, bar, tab line", _captions, text=True),
    Format("csv", ".notes.csv", "table of the notes; no pitch curves", _note_table, text=True),
    Format("plot", ".plot.png", "picture of the pitch over the frets", _plot, needs=("matplotlib", "plot")),
)


def formats_named(names: Iterable[str]) -> tuple[Format, ...]:
    """Rows of these names, in the order of the table, each once.

    Raises
    ------
    UsageError
        If a format does not exist; the nearest that does is named.
    """
    import difflib

    known = {row.name: row for row in FORMATS}
    wanted = list(names)
    for name in wanted:
        if name not in known:
            near = difflib.get_close_matches(name.lower(), known, n=1, cutoff=0.4)
            hint = f"did you mean '{near[0]}'?" if near else f"choose from {', '.join(known)}"
            raise UsageError(f"there is no format '{name}'; {hint}")
    return tuple(row for row in FORMATS if row.name in wanted)


def left_behind(row: Format, name: str, written: Iterable[str], there: Iterable[str]) -> tuple[str, ...]:
    """Tell which files of an earlier export in a format a later one of fewer pages did not write again.

    Parameters
    ----------
    row : Format
    name : str
        NAME of the export.
    written : iterable of str
        Names of the files that it wrote.
    there : iterable of str
        Names of all files in the folder.

    Returns
    -------
    tuple of str
        In order of their numbers. Pages are numbered without a gap: what lies beyond one is somebody else's.
    """
    if row.numbered is None:
        return ()
    form = re.compile(re.escape(name) + row.numbered)

    def numbers(names: Iterable[str]) -> dict[int, str]:
        matches = {each: form.fullmatch(each) for each in names}
        return {int(match[1] or 0): each for each, match in matches.items() if match is not None}

    old, new = numbers(there), numbers(written)
    if not new:
        return ()
    left = [0] if 0 in old and 0 not in new else []
    number = max(new) + 1
    while number in old:
        left.append(number)
        number += 1
    return tuple(old[each] for each in left)
