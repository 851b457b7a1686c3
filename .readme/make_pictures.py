"""Make the pictures and text tabs that README.md shows: ``python .readme/make_pictures.py [NAME...]``.

Each is drafted from a take of `sample_audio_generated/` with nothing given but the recording, so that README
shows what the program really writes. Needs the extras ``plot`` and ``sheet``.
"""

from __future__ import annotations

import sys
from io import BytesIO
from pathlib import Path

from PIL import Image, ImageOps

from transcriber.drafting import draft_take
from transcriber.export import PlotSettings, plot_png, text_tab
from transcriber.export.sheet.engrave import engrave
from transcriber.export.sheet.page import sheet_source

HERE = Path(__file__).resolve().parent
SAMPLES = HERE.parent / "sample_audio_generated"

SHOWN = {
    "diesel_and_rain": PlotSettings(width_px=1200, row_height_px=380, row_s=8.0, start_s=0.0, end_s=8.0),
    "wheelhouse_rattle": PlotSettings(width_px=1200, row_height_px=380, row_s=8.0, start_s=0.0, end_s=8.0),
}
"""Take, and the part of it that the picture shows."""

WIDTH = 96
"""Characters in a line of the text tabs."""

SHEETS = ("diesel_and_rain",)
"""Takes whose engraved sheet is shown, cut off under the music and in few greys to keep the file small."""

SHEET_DOTS_PER_INCH, SHEET_MARGIN_PX, GREYS = 110, 16, 8


def make(name: str) -> None:
    """Draft one take and write its picture, its text tab and perhaps its sheet."""
    draft = draft_take(SAMPLES / f"{name}.flac")
    if name in SHEETS:
        page = next(iter(engrave(sheet_source(draft), "png", SHEET_DOTS_PER_INCH).values()))
        (HERE / f"{name}_sheet.png").write_bytes(small_sheet(page))
    (HERE / f"{name}.png").write_bytes(plot_png(draft, SHOWN[name]))
    (HERE / f"{name}.txt").write_text(text_tab(draft, WIDTH), encoding="utf-8")


def small_sheet(page: bytes) -> bytes:
    """Cut a page to what is drawn, and reduce its greys."""
    with Image.open(BytesIO(page)) as opened:
        paper = Image.new("RGBA", opened.size, "white")
        paper.alpha_composite(opened.convert("RGBA"))
    grey = paper.convert("L")
    left, top, right, bottom = ImageOps.invert(grey).getbbox() or (0, 0, *grey.size)
    margin = SHEET_MARGIN_PX
    cut = grey.crop((left - margin, top - margin, right + margin, bottom + margin))
    buffer = BytesIO()
    cut.quantize(GREYS).save(buffer, "PNG", optimize=True)
    return buffer.getvalue()


if __name__ == "__main__":
    for chosen in sys.argv[1:] or SHOWN:
        make(chosen)
