"""Drawing one system of a text tab from placed columns."""

from __future__ import annotations

from collections.abc import Sequence

from transcriber.export.tab_layout import Column, PlacedPart, Row

BAR_LINE, BROKEN_EDGE = "|", ":"

SPAN_ROWS: tuple[tuple[Row, str, bool], ...] = (
    ("let_ring", "LR", True),
    ("palm_mute", "PM", True),
    ("staccato", "st", False),
)
"""Row, sign, and whether dashes join neighbours into one span."""


def string_row(string: int) -> Row:
    """Row of a string line; `string` counts from 1."""
    return f"string {string}"


def draw_system(system: Sequence[PlacedPart], names: Sequence[str], line_width: int) -> list[str]:
    """Draw one system.

    Parameters
    ----------
    system : sequence of PlacedPart
    names : sequence of str
        Names of the strings, string 1 first.
    line_width : int
        How long a line may be: a label may reach over the system's right edge as far.

    Returns
    -------
    list of str
        Rows from the top; rows that hold nothing are left out.
    """
    width = system[-1].right + 1
    columns = [
        (anchor, column)
        for placed in system
        for anchor, column in zip(placed.anchors, placed.part.columns, strict=True)
    ]
    rows = [
        _numbers(system, width),
        _labels(columns, max(width, line_width)),
        _words("chord", columns, width),
    ]
    rows += [_spans(row, sign, joins, columns, width) for row, sign, joins in SPAN_ROWS]
    rows += [_brackets(columns, width), _rhythm(columns, system[0].left, width)]
    rows.append(_words("count", columns, width))
    rows += [_string(string_row(place + 1), name, system, columns) for place, name in enumerate(names)]
    rows.append(_words("beat", columns, width))
    return [row for row in rows if row.strip()]


def _put(row: list[str], at: int, text: str) -> None:
    """Write on a row, making it longer where the text needs it."""
    row.extend(" " * (at + len(text) - len(row)))
    row[at : at + len(text)] = text


def _numbers(system: Sequence[PlacedPart], width: int) -> str:
    row = [" "] * width
    for placed in system:
        if placed.part.opens:
            _put(row, placed.left, str(placed.part.number))
    return "".join(row)


def _put_cells(row: list[str], name: Row, columns: Sequence[tuple[int, Column]]) -> None:
    for anchor, column in columns:
        cell = column.cells.get(name)
        if cell is not None:
            _put(row, anchor - len(cell.before), cell.before + cell.text)


def _words(name: Row, columns: Sequence[tuple[int, Column]], width: int) -> str:
    row = [" "] * width
    _put_cells(row, name, columns)
    return "".join(row)


def _labels(columns: Sequence[tuple[int, Column]], width: int) -> str:
    """Labels over the columns, each cut short where the next one or the end of the line comes."""
    row = [" "] * width
    labelled = [(anchor, column.label) for anchor, column in columns if column.label]
    for place, (anchor, label) in enumerate(labelled):
        edge = labelled[place + 1][0] - 1 if place + 1 < len(labelled) else width
        room = max(edge - anchor, 0)
        _put(row, anchor, label if len(label) <= room else label[: max(room - 2, 0)] + ".."[:room])
    return "".join(row)


def _spans(name: Row, sign: str, joins: bool, columns: Sequence[tuple[int, Column]], width: int) -> str:
    row = [" "] * width
    inside = False
    sounding = [(anchor, column) for anchor, column in columns if column.length > 0]
    for place, (anchor, column) in enumerate(sounding):
        covered = name in column.marks
        if covered and not (inside and joins):
            _put(row, anchor, sign)
        if covered and joins and place + 1 < len(sounding) and name in sounding[place + 1][1].marks:
            start = anchor if inside else anchor + len(sign)
            _put(row, start, "-" * (sounding[place + 1][0] + 1 - start))
        inside = covered
    return "".join(row)


def _brackets(columns: Sequence[tuple[int, Column]], width: int) -> str:
    """Brackets such as ``--3--`` from the first to the last rhythm sign of each tuplet."""
    row = [" "] * width
    groups: dict[tuple[int, int, int], list[int]] = {}
    for anchor, column in columns:
        if column.tuplet is not None:
            end = anchor + len(column.cells["rhythm"].text)
            span = groups.setdefault(column.tuplet, [anchor, end])
            span[1] = end
    for (_, _, figure), (start, end) in groups.items():
        _put(row, start, str(figure).center(end - start, "-"))
    return "".join(row)


def _rhythm(columns: Sequence[tuple[int, Column]], left: int, width: int) -> str:
    """Rhythm signs; a tie is a line of underscores, to the edge where it goes on in another system."""
    row = [" "] * width
    written = [(anchor, column) for anchor, column in columns if "rhythm" in column.cells]
    for place, (anchor, column) in enumerate(written):
        text = column.cells["rhythm"].text
        _put(row, anchor, text)
        if column.tied_in and place == 0:
            _put(row, left, "_" * (anchor - left))
        if column.tied_out:
            end = written[place + 1][0] if place + 1 < len(written) else width
            _put(row, anchor + len(text), "_" * (end - anchor - len(text)))
    return "".join(row)


def _string(
    name: Row, label: str, system: Sequence[PlacedPart], columns: Sequence[tuple[int, Column]]
) -> str:
    left, right = system[0].left, system[-1].right
    row = list(label.ljust(left) + "-" * (right + 1 - left))
    _put_cells(row, name, columns)
    for placed in system:
        _put(row, placed.left, BAR_LINE if placed.part.opens else BROKEN_EDGE)
    _put(row, right, BAR_LINE if system[-1].part.closes else BROKEN_EDGE)
    return "".join(row)
