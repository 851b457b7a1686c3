"""Lines drawn at a note: arrows of bends, lines of slides in and out, small numbers; as LilyPond markups.

Measures are staff spaces, x from the left edge of the note, y from the middle of the staff. A drawing grows
to the right, and the room it takes is kept free of the next note.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from transcriber.export.sheet.ly_text import quoted
from transcriber.export.sheet.moves import Move, amount

TAB_LINE = 1.5
"""Distance of two lines of a tab staff."""

ARROW_HEAD = 0.42
STEP = 2.1
"""Width of one bend or release."""

OVER_STAFF = 2.4
"""How far over the staff's top line an arrow reaches."""

THICKNESS = 0.13
SLANT, RISE = 1.3, 0.55
"""Width of a slide's line that leads from or to nowhere, and half its height."""

TWEAKS = (
    "-\\tweak outside-staff-priority ##f -\\tweak avoid-slur #'ignore -\\tweak X-offset #0 "
    "-\\tweak extra-spacing-width #'(-0.1 . 0.4) -\\tweak extra-spacing-height #'(-inf.0 . +inf.0) "
)
"""The drawing stays where its measures put it, and the next note keeps clear of it."""


@dataclass
class Drawing:
    """A drawing in the making: `x` is where the next line to the right begins."""

    y: float
    x: float
    parts: list[str] = field(default_factory=list)

    @property
    def markup(self) -> str:
        """The drawing as a script on a note, empty if nothing was drawn."""
        if not self.parts:
            return ""
        inside = " ".join(self.parts)
        return f" {TWEAKS}-\\tweak Y-offset #0 ^\\markup \\overlay {{ {inside} }}"

    def path(self, *commands: str) -> None:
        """Draw a line."""
        self.parts.append(f"\\path #{THICKNESS} #'({' '.join(f'({one})' for one in commands)})")

    def head(self, x: float, y: float, up: bool) -> None:
        """Draw the head of an arrow with its point at (x, y)."""
        back = y - ARROW_HEAD * 1.6 if up else y + ARROW_HEAD * 1.6
        half = ARROW_HEAD / 1.4
        commands = (
            f"(moveto {x:.2f} {y:.2f}) (lineto {x - half:.2f} {back:.2f}) (lineto {x + half:.2f} {back:.2f})"
        )
        self.parts.append(f"\\override #'(filled . #t) \\path #0.02 #'({commands} (closepath))")

    def words(self, x: float, y: float, text: str) -> None:
        """Write small words centred over a point."""
        self.parts.append(
            f"\\translate #'({x:.2f} . {y:.2f}) \\halign #0 \\whiteout \\sheetSmall {quoted(text)}"
        )


def draw_moves(drawing: Drawing, moves: Sequence[Move], top: float, fret: int | None, middle: float) -> None:
    """Draw bends and releases one after another, each to its height over the staff.

    Parameters
    ----------
    drawing : Drawing
        Begins behind the fret's number.
    moves : sequence of Move
    top : float
        The staff's top line.
    fret : int or None
        Written in parentheses where a release arrives at it.
    middle : float
        The middle of the fret's number, where a pre-bend's arrow stands.
    """
    peak = max([0.0, *(max(move.before, move.after) for move in moves)])
    for move in moves:
        begin, end = (_height(drawing.y, top, level, peak) for level in (move.before, move.after))
        if move.kind == "pre_bend":
            drawing.path(f"moveto {middle:.2f} {drawing.y + 0.9:.2f}", f"lineto {middle:.2f} {end - 0.3:.2f}")
            drawing.head(middle, end, up=True)
            drawing.words(middle, end + 0.35, amount(move.after))
            drawing.x = max(drawing.x, middle + 0.15)
            continue
        x, goal = drawing.x, drawing.x + STEP
        up = end > begin
        tip = end if up else end + (0.9 if move.after <= 0 else 0.0)
        stop = tip - 0.3 if up else tip + 0.3
        if move.before > 0 and _stands_over(moves, move):
            x = middle + 0.1
        drawing.path(
            f"moveto {x:.2f} {begin:.2f}",
            f"curveto {x + 0.7 * (goal - x):.2f} {begin:.2f} {goal:.2f} "
            f"{begin + 0.35 * (stop - begin):.2f} {goal:.2f} {stop:.2f}",
        )
        drawing.head(goal, tip, up)
        drawing.x = goal
        if move.after > 0:
            drawing.words(goal, (end + 0.35) if up else end - 1.3, amount(move.after))
        elif fret is not None:
            drawing.words(goal, drawing.y - 0.45, f"({fret})")
            drawing.x = goal + 0.45 * len(f"({fret})")


def _stands_over(moves: Sequence[Move], move: Move) -> bool:
    """Whether a release comes right after a pre-bend, whose arrow stands over the number itself."""
    place = list(moves).index(move)
    return place > 0 and moves[place - 1].kind == "pre_bend"


def _height(y: float, top: float, level: float, peak: float) -> float:
    """Height at which a bend of `level` semitones is drawn: the string, or over the staff by its share."""
    if level <= 0:
        return y
    if peak <= level:
        return top + OVER_STAFF
    return top + OVER_STAFF * (0.35 + 0.65 * level / peak)


def draw_slide_in(drawing: Drawing, rising: bool) -> None:
    """Draw a line that leads to the note from nowhere."""
    rise = RISE if rising else -RISE
    drawing.path(
        f"moveto {-SLANT - 0.15:.2f} {drawing.y - rise:.2f}", f"lineto -0.15 {drawing.y + rise / 2:.2f}"
    )


def draw_slide_out(drawing: Drawing, rising: bool) -> None:
    """Draw a line that leads from the note to nowhere."""
    rise = RISE if rising else -RISE
    x = drawing.x + 0.1
    drawing.path(
        f"moveto {x:.2f} {drawing.y - rise / 2:.2f}", f"lineto {x + SLANT:.2f} {drawing.y + rise:.2f}"
    )
    drawing.x = x + SLANT


def draw_trill(drawing: Drawing, to_fret: int) -> None:
    """Write the other fret of a trill, small and in parentheses."""
    text = f"({to_fret})"
    width = 0.45 * len(text)
    drawing.words(drawing.x + 0.1 + width, drawing.y - 0.45, text)
    drawing.x += 0.1 + 2 * width
