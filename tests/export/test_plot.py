"""The picture: size, bounds, and the message when matplotlib is absent."""

from __future__ import annotations

import sys
from dataclasses import replace

import export_drafts as lines
import pytest

from transcriber.errors import UsageError
from transcriber.export import PlotSettings, plot_png
from transcriber.export.plot import _gestures
from transcriber.records.technique import Technique


def size_of(png: bytes) -> tuple[int, int]:
    """Width and height from the IHDR chunk (PNG specification)."""
    assert png[:8] == b"\x89PNG\r\n\x1a\n"
    return int.from_bytes(png[16:20], "big"), int.from_bytes(png[20:24], "big")


def test_size_and_rows() -> None:
    assert size_of(plot_png(lines.pickup_line(), PlotSettings(row_s=100.0))) == (1200, 420)
    width, height = size_of(plot_png(lines.techniques_line(), PlotSettings(width_px=800, row_s=5.0)))
    assert (width, height) == (800, 840)


def test_same_draft_same_picture_and_another_contour_another() -> None:
    draft = lines.straight_line()
    note = draft.notes[4]
    sharp = replace(note.contour, cents=tuple(40.0 for _ in note.contour.cents))
    moved = replace(draft, notes=(*draft.notes[:4], replace(note, contour=sharp), *draft.notes[5:]))
    assert plot_png(draft) == plot_png(draft)
    assert plot_png(draft) != plot_png(moved)


def test_a_bend_is_called_as_high_as_on_the_sheet() -> None:
    """In whole tones, as players count: a bare 2 would be taken for two of them."""
    for semitones, said in ((1.0, "bend 1/2"), (2.0, "bend full"), (3.0, "bend 1 1/2"), (4.0, "bend 2")):
        bend = Technique("bend", start_s=0.0, end_s=0.4, semitones=semitones)
        (note,) = lines.build([(0, "1", 3, 7, bend)]).notes
        assert [words for words, _, _ in _gestures(note, 62)] == [said]


def test_no_notes_gives_an_empty_picture() -> None:
    assert size_of(plot_png(replace(lines.straight_line(), notes=())))[0] == 1200


@pytest.mark.parametrize(
    ("settings", "word"),
    [
        (PlotSettings(width_px=100), "choose 600 to 4000"),
        (PlotSettings(row_height_px=10), "choose 200 to 2000"),
        (PlotSettings(row_s=0.0), "more than 0"),
        (PlotSettings(start_s=3.0, end_s=2.0), "is empty"),
    ],
)
def test_settings_out_of_bounds(settings: PlotSettings, word: str) -> None:
    with pytest.raises(UsageError, match=word):
        plot_png(lines.pickup_line(), settings)


def test_without_matplotlib_one_line_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "matplotlib.figure", None)
    with pytest.raises(UsageError, match=r"pip install 'transcriber\[plot\]'"):
        plot_png(lines.pickup_line())
