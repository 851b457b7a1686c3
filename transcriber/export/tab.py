"""Text tab in plain characters: rhythm figures over string lines, with a legend and a list of notes to check.

The rows of a system, from the top: bar numbers, chords, palm mute and the like, tuplet brackets, rhythm, if
asked for the syllables it is counted by, the string lines (string 1 on top), and the beats of the meter's
denominator. Rhythm figures stand exactly over their notes. A bar that alone is wider than the line is broken
at a beat, with ``:`` at the broken edge.
"""

from __future__ import annotations

from transcriber.draft.document import Draft
from transcriber.errors import UsageError
from transcriber.export.score import score_of
from transcriber.export.tab_canvas import draw_system
from transcriber.export.tab_layout import fill_systems
from transcriber.export.tab_words import check_list, header, made_of, remarks, take_issues, toss_ups
from transcriber.export.tab_writer import TabWriter
from transcriber.records.pitch import open_string_names

NARROWEST, WIDEST = 60, 200
"""Characters in a line."""


def text_tab(draft: Draft, width: int = 80, count: bool = False) -> str:
    r"""Write a draft as text tab.

    Parameters
    ----------
    draft : Draft
    width : int
        Characters in a line, 60 to 200.
    count : bool
        Whether the syllables by which the rhythm is counted aloud stand under it.

    Returns
    -------
    str
        Lines ended by ``\n``. All of it is plain ASCII but for the file's name and a person's own words.

    Raises
    ------
    UsageError
        If `width` is out of bounds.
    DraftError
        If a position or length of the draft cannot be written.
    """
    if not NARROWEST <= width <= WIDEST:
        raise UsageError(f"width {width} is out of bounds: choose {NARROWEST} to {WIDEST} characters")
    score = score_of(draft)
    writer = TabWriter(draft, score, count)
    bars = [writer.bar(bar) for bar in score.bars]
    lines = header(draft, width)
    names = string_names(draft.instrument.tuning_midi)
    for system in fill_systems(bars, width, max(len(name) for name in names)):
        lines += ["", *draw_system(system, names, width)]
    if score.bars:
        lines += ["", *writer.legend(width)]
    lines += take_issues(draft, width) + check_list(draft, width)
    lines += toss_ups(draft, width) + made_of(draft, width) + remarks(draft, width)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def string_names(tuning_midi: tuple[int, ...]) -> tuple[str, ...]:
    """Names for the string lines, string 1 first and in lower case, as the trade writes it."""
    names = open_string_names(tuning_midi)
    return (names[0].lower(), *names[1:])
