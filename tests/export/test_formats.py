"""Every row of the table of formats writes every draft of the exporters' tests, the same each time."""

from __future__ import annotations

import export_drafts as lines
import pytest

from transcriber.export.formats import FORMATS, Format
from transcriber.settings import ExportSettings

ENGRAVED = {"sheet", "sheet-svg", "sheet-png", "phrases"}
"""Slow ones, written of one draft here; they have their own tests."""

CASES = [
    pytest.param(row, name, id=f"{row.name}-{name}")
    for row in FORMATS
    for name in (["pickup"] if row.name in ENGRAVED else sorted(lines.DRAFTS))
]


@pytest.mark.parametrize(("row", "name"), CASES)
def test_every_format_writes_a_draft(row: Format, name: str) -> None:
    written = row.write(lines.DRAFTS[name](), ExportSettings())
    assert written == row.write(lines.DRAFTS[name](), ExportSettings())
    assert all(data for data in written.values())
    if row.single:
        assert set(written) == {row.suffix}
    if row.text:
        for data in written.values():
            assert data.decode("utf-8").endswith("\n")
