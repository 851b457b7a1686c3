"""Picture of the pitch contour over the frets, for checking bends, vibrato and intonation by eye."""

from __future__ import annotations

import io
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import Any

from transcriber.draft import Draft, DraftNote
from transcriber.errors import UsageError
from transcriber.export.score import unsure_notes
from transcriber.export.sheet.moves import amount
from transcriber.records.pitch import pitch_name

GROUND, INK, GRID, FAINT, ACCENT = "#fbfaf7", "#2b2b2b", "#d9d6cf", "#edebe5", "#b4471f"
"""Colours: one accent, for the contour."""

DOTS_PER_INCH = 100
SMALLEST_PX, LARGEST_PX = 600, 4000
LABEL_ROOM = 0.03
"""Share of a row's width that a bar number needs; the name of a note needs a third of it."""

LEAP_SEMITONES = 2.0
"""The line is broken where the contour leaps this far from one value to the next."""

NATURAL_KEYS = frozenset({0, 2, 4, 5, 7, 9, 11})


@dataclass(frozen=True)
class PlotSettings:
    """What to draw, and how large.

    Attributes
    ----------
    width_px : int
        Width of one row of the picture, 600 to 4000.
    row_height_px : int
        Height of one row, 200 to 2000.
    row_s : float
        Seconds in one row; a longer take is drawn in several rows.
    start_s, end_s : float or None
        Part of the recording, in seconds; None for the first and last note.
    """

    width_px: int = 1200
    row_height_px: int = 420
    row_s: float = 8.0
    start_s: float | None = None
    end_s: float | None = None


def plot_png(draft: Draft, settings: PlotSettings | None = None) -> bytes:
    """Draw the contour of every note over semitone lines, with boxes, beats and bars.

    Parameters
    ----------
    draft : Draft
    settings : PlotSettings, optional

    Returns
    -------
    bytes
        A PNG picture.

    Raises
    ------
    UsageError
        If matplotlib is not installed, or a setting is out of bounds.
    """
    chosen = settings or PlotSettings()
    _check(chosen)
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError as error:
        raise UsageError(
            "drawing a picture needs matplotlib: install it with  pip install 'transcriber[plot]'"
        ) from error
    begin, end = _span(draft, chosen)
    rows = max(1, ceil((end - begin) / chosen.row_s - 0.05))
    figure = Figure(
        figsize=(chosen.width_px / DOTS_PER_INCH, rows * chosen.row_height_px / DOTS_PER_INCH),
        dpi=DOTS_PER_INCH,
        facecolor=GROUND,
        layout="constrained",
    )
    FigureCanvasAgg(figure)
    row_s = (end - begin) / rows
    for row in range(rows):
        axes = figure.add_subplot(rows, 1, row + 1)
        _draw_row(axes, draft, begin + row * row_s, begin + (row + 1) * row_s)
    figure.axes[-1].set_xlabel("seconds in the recording", color=INK, fontsize=9)
    buffer = io.BytesIO()
    figure.savefig(buffer, format="png", metadata={"Software": None})
    return buffer.getvalue()


def _check(settings: PlotSettings) -> None:
    if not SMALLEST_PX <= settings.width_px <= LARGEST_PX:
        raise UsageError(
            f"width {settings.width_px} px is out of bounds: choose {SMALLEST_PX} to {LARGEST_PX}"
        )
    if not 200 <= settings.row_height_px <= 2000:
        raise UsageError(f"row height {settings.row_height_px} px is out of bounds: choose 200 to 2000")
    if not settings.row_s > 0:
        raise UsageError(f"{settings.row_s} seconds in a row is out of bounds: choose more than 0")


def _span(draft: Draft, settings: PlotSettings) -> tuple[float, float]:
    first = min((note.onset_s for note in draft.notes), default=0.0) - 0.15
    last = max((note.end_s for note in draft.notes), default=1.0) + 0.15
    begin = first if settings.start_s is None else settings.start_s
    end = last if settings.end_s is None else settings.end_s
    if end <= begin:
        raise UsageError(f"the part from {begin:.2f} s to {end:.2f} s is empty: end later than you start")
    return begin, end


def _draw_row(axes: Any, draft: Draft, begin: float, end: float) -> None:
    notes = [note for note in draft.notes if note.onset_s < end and note.end_s > begin]
    low, high = _pitch_span(notes)
    axes.set_facecolor(GROUND)
    axes.set_xlim(begin, end)
    axes.set_ylim(low - 0.8, high + 1.2)
    _semitone_lines(axes, low, high)
    _beat_lines(axes, draft, begin, end, high)
    unsure = {note.id for note in unsure_notes(draft)}
    for note in notes:
        if note.pitch_midi is not None:
            _draw_note(axes, note, note.pitch_midi, note.id in unsure)
            _name_note(axes, note, note.pitch_midi, note.id in unsure, (begin, end))
    for side in ("top", "right", "left", "bottom"):
        axes.spines[side].set_visible(False)
    axes.tick_params(length=0, labelsize=8, colors=INK)


def _pitch_span(notes: list[DraftNote]) -> tuple[int, int]:
    """Lowest and highest semitone line of a row, at least an octave apart."""
    tops = [note.pitch_midi + _highest(note) for note in notes if note.pitch_midi is not None]
    bottoms = [note.pitch_midi for note in notes if note.pitch_midi is not None]
    low = min(bottoms, default=60) - 1
    return low, max(low + 12, ceil(max(tops, default=64)) + 1)


def _highest(note: DraftNote) -> float:
    """Semitones that the note rises above its fret, as its bends say."""
    return max(
        (one.semitones or 0.0 for one in note.techniques if one.kind in ("bend", "pre_bend")), default=0.0
    )


def _semitone_lines(axes: Any, low: int, high: int) -> None:
    for pitch in range(low, high + 1):
        natural = pitch % 12 in NATURAL_KEYS
        axes.axhline(pitch, color=GRID if natural else FAINT, linewidth=0.8, zorder=0)
    named = [pitch for pitch in range(low, high + 1) if pitch % 12 in NATURAL_KEYS]
    axes.set_yticks(named, [pitch_name(pitch) for pitch in named])


def _beat_lines(axes: Any, draft: Draft, begin: float, end: float, high: int) -> None:
    timing = draft.timing
    meter = timing.meter
    beat = timing.first_beat
    while timing.time_of(Fraction(beat)) < end:
        time = timing.time_of(Fraction(beat))
        if time >= begin:
            downbeat = beat % meter.beats == 0
            if downbeat or beat % meter.tap == 0:
                axes.axvline(
                    time, color=INK if downbeat else GRID, linewidth=0.9 if downbeat else 0.7, zorder=0
                )
            if downbeat and end - time > LABEL_ROOM * (end - begin):
                axes.text(
                    time, high + 0.75, f" bar {beat // meter.beats + 1}", fontsize=8, color=INK, va="center"
                )
        beat += 1


def _draw_note(axes: Any, note: DraftNote, pitch: int, unsure: bool) -> None:
    from matplotlib.patches import Rectangle

    box = Rectangle(
        (note.onset_s, pitch - 0.3),
        max(note.end_s - note.onset_s, 0.01),
        0.6,
        facecolor="white",
        edgecolor=INK,
        linewidth=0.8,
        linestyle=":" if unsure else "-",
        zorder=1,
    )
    axes.add_patch(box)
    points = _line(note, pitch)
    axes.plot([time for time, _ in points], [at for _, at in points], color=ACCENT, linewidth=1.5, zorder=3)


def _line(note: DraftNote, pitch: int) -> list[tuple[float, float]]:
    """Contour as (seconds, MIDI pitch), broken where the pitch is lost or leaps."""
    points: list[tuple[float, float]] = []
    before: tuple[float, float] | None = None
    for time, cents in zip(note.contour.times_s, note.contour.cents, strict=True):
        here = None if cents is None else (time, pitch + cents / 100)
        if here is None or (before is not None and abs(here[1] - before[1]) > LEAP_SEMITONES):
            points.append((time, float("nan")))
        if here is not None:
            points.append(here)
        before = here
    return points


def _name_note(axes: Any, note: DraftNote, pitch: int, unsure: bool, row: tuple[float, float]) -> None:
    """Write a note's pitch under its box, where there is room, and its gestures over the contour."""
    begin, end = row
    label = pitch_name(pitch) + ("?" if unsure else "")
    if note.onset_s >= begin and note.end_s - note.onset_s > LABEL_ROOM / 3 * (end - begin):
        axes.text(note.onset_s, pitch - 0.38, label, fontsize=7.5, color=INK, va="top", zorder=4)
    for text, time, height in _gestures(note, pitch):
        if begin <= time <= end:
            axes.text(time, height, text, fontsize=7.5, color=ACCENT, ha="center", va="bottom", zorder=4)


def _gestures(note: DraftNote, pitch: int) -> list[tuple[str, float, float]]:
    """Words on bends, as high as the sheet says they are, and on vibrato: text, time and height."""
    found = []
    level = 0.0
    for one in note.techniques:
        middle = (note.onset_s + note.end_s) / 2
        if one.kind in ("bend", "pre_bend") and one.semitones is not None:
            level = one.semitones
            word = "pre-bend" if one.kind == "pre_bend" else "bend"
            time = one.end_s if one.end_s is not None else note.onset_s
            found.append((f"{word} {amount(level)}", time, pitch + level + 0.35))
        elif one.kind == "vibrato":
            time = middle if one.start_s is None else (one.start_s + note.end_s) / 2
            found.append(("~ vibrato", time, pitch + level + (one.depth_semitones or 0.5) + 0.2))
        elif one.kind == "release":
            level = one.semitones or 0.0
    return found
