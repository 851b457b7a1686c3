"""Put the text tab and measured tables into README.md: ``python .readme/fill_readme.py [tab] [accuracy]``.

The tab is the one that `make_pictures.py` wrote. The accuracy tables are measured anew, as by
``python -m tests.accuracy.run --split report``; that takes a minute or two. Run from anywhere.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Sequence
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from tests.accuracy.judge import figures, technique_figures  # noqa: E402
from tests.accuracy.report import Result, pool  # noqa: E402
from tests.accuracy.run import DEFAULT_LINES, measure_all  # noqa: E402
from tests.accuracy.takes import ALL_CONDITIONS, SPLITS, specs  # noqa: E402

README = HERE.parent / "README.md"
SHOWN_TAB = HERE / "diesel_and_rain.txt"
GIVEN = ("tempo,position", "nothing")

# Figure as the bench names it, and what README calls it.
ROWS = (
    ("note F", "notes (F)"),
    ("note F with offsets", "notes, their ends right too (F)"),
    ("start", "bar and beat right"),
    ("rhythm", "bar, beat and length right"),
    ("downbeat", "bar lines in the right place"),
    ("tempo", "tempo within 4 %"),
    ("techniques F", "techniques (F)"),
    ("bend within .25", "bend height within a quarter of a half-tone"),
    ("place", "string and fret right"),
    ("corrections/100", "**corrections per 100 notes** (less is better)"),
    ("honesty AUC", "honesty"),
    ("share called sure", "notes called sure"),
    ("sure and right", "of those, right"),
)
STYLES = {
    "box": "one box",
    "open": "open position",
    "three_a_string": "three notes a string",
    "shift": "position shifts",
}
TECHNIQUES = {
    "bend": "bend",
    "pre_bend": "pre-bend",
    "release": "release",
    "vibrato": "vibrato",
    "slide": "slide",
    "slur": "hammer-on and pull-off",
}


def measured(given: str) -> list[Result]:
    """Draft and judge the takes of the report split."""
    listed = specs("report", SPLITS["report"], ALL_CONDITIONS, DEFAULT_LINES)
    return list(measure_all([(spec, "project", given) for spec in listed]))


def shown(name: str, value: float | None) -> str:
    """Write a figure as the tables do."""
    if value is None:
        return "-"
    return f"{value:.0f}" if name == "corrections/100" else f"{value:.2f}"


def overall_table(results: dict[str, list[Result]]) -> str:
    """The project and the general parts, with much given and with little."""
    columns = []
    for given in GIVEN:
        columns.append(figures(pool([one.judgement.tally for one in results[given]])))
        columns.append(figures(pool([one.base for one in results[given] if one.base is not None])))
    lines = [
        "| | tempo and position given | general parts | neither given | general parts |",
        "|---|---|---|---|---|",
    ]
    for name, words in ROWS:
        cells = [shown(name, column[name]) for column in columns]
        lines.append(f"| {words} | {' | '.join(cells)} |")
    return "\n".join(lines)


def place_table(results: dict[str, list[Result]]) -> str:
    """String and fret by fingering, beside the rule that a person could apply by hand."""
    lines = [
        "| string and fret right | tempo and position given | neither given | nearest-fret rule |",
        "|---|---|---|---|",
    ]
    for style, words in STYLES.items():
        chosen = [[one for one in results[given] if one.take.composed.style == style] for given in GIVEN]
        cells = [figures(pool([one.judgement.tally for one in some]))["place"] for some in chosen]
        cells.append(figures(pool([one.near for one in chosen[0]]))["place"])
        lines.append(f"| {words} | {' | '.join(shown('place', cell) for cell in cells)} |")
    return "\n".join(lines)


def technique_table(results: Sequence[Result]) -> str:
    """Techniques one by one: how many were played, what share was found, and what share drafted was true."""
    found = technique_figures(pool([one.judgement.tally for one in results]))
    lines = [
        "| technique | played | of those, found | drafted | of those, true |",
        "|---|---|---|---|---|",
    ]
    for kind, words in TECHNIQUES.items():
        row = found[kind]
        shares = shown(kind, row["recall"]), shown(kind, row["precision"])
        lines.append(f"| {words} | {row['true']} | {shares[0]} | {row['drafted']} | {shares[1]} |")
    return "\n".join(lines)


def filled(text: str, part: str, content: str) -> str:
    """Replace what stands between the marks of a part."""
    pattern = re.compile(rf"(<!-- {part} -->\n).*?(\n<!-- end of {part} -->)", re.DOTALL)
    text, times = pattern.subn(lambda match: match[1] + content + match[2], text)
    if times != 1:
        raise SystemExit(f"README.md has {times} places marked '{part}'; it must have one")
    return text


def main(parts: Sequence[str]) -> None:
    """Fill the parts named, or all."""
    text = README.read_text(encoding="utf-8")
    if not parts or "tab" in parts:
        text = filled(text, "tab", f"```text\n{SHOWN_TAB.read_text(encoding='utf-8')}```")
    if not parts or "accuracy" in parts:
        results = {given: measured(given) for given in GIVEN}
        text = filled(text, "accuracy", overall_table(results))
        text = filled(text, "places", place_table(results))
        text = filled(text, "techniques", technique_table(results[GIVEN[0]]))
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
