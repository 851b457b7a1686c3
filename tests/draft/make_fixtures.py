"""Write the fixture of the current format version: `python tests/draft/make_fixtures.py`.

A fixture of an older version is never written again: it is what older programs wrote, and must stay readable.
"""

from __future__ import annotations

from pathlib import Path

from draft_samples import sample_draft

from transcriber.draft import FORMAT_VERSION, write_draft

FIXTURES = Path(__file__).parent / "fixtures"


def fixture_path(version: int) -> Path:
    return FIXTURES / f"format_{version}.draft.json"


if __name__ == "__main__":
    write_draft(sample_draft(), fixture_path(FORMAT_VERSION), force=True)
