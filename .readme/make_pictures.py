"""Make the pictures and text tabs that README.md shows: ``python .readme/make_pictures.py [NAME...]``.

Each is drafted from a take of `sample_audio_generated/` with nothing given but the recording, so that README
shows what the program really writes. Needs the extra ``plot``.
"""

from __future__ import annotations

import sys
from pathlib import Path

from transcriber.export import PlotSettings, plot_png, text_tab
from transcriber.pipeline import draft_take

HERE = Path(__file__).resolve().parent
SAMPLES = HERE.parent / "sample_audio_generated"

SHOWN = {
    "diesel_and_rain": PlotSettings(width_px=1200, row_height_px=380, row_s=8.0, start_s=0.0, end_s=8.0),
    "wheelhouse_rattle": PlotSettings(width_px=1200, row_height_px=380, row_s=8.0, start_s=0.0, end_s=8.0),
}
"""Take, and the part of it that the picture shows."""

WIDTH = 96
"""Characters in a line of the text tabs."""


def make(name: str) -> None:
    """Draft one take and write its picture and its text tab."""
    draft = draft_take(SAMPLES / f"{name}.flac")
    (HERE / f"{name}.png").write_bytes(plot_png(draft, SHOWN[name]))
    (HERE / f"{name}.txt").write_text(text_tab(draft, WIDTH), encoding="utf-8")


if __name__ == "__main__":
    for chosen in sys.argv[1:] or SHOWN:
        make(chosen)
