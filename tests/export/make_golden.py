"""Write the golden text tabs anew: ``python tests/export/make_golden.py``; look at the difference first."""

from __future__ import annotations

import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path[:0] = [str(HERE), str(HERE.parents[1])]

import export_drafts  # noqa: E402

from transcriber.export import text_tab  # noqa: E402

WIDTHS = (60, 80, 120)


def golden_path(name: str, width: int) -> Path:
    """Where the golden tab of a draft stands."""
    return HERE / "golden" / f"{name}_{width}.txt"


def main() -> None:
    """Write every golden file."""
    for name, make in export_drafts.DRAFTS.items():
        for width in WIDTHS:
            path = golden_path(name, width)
            path.parent.mkdir(exist_ok=True)
            path.write_text(text_tab(make(), width), encoding="utf-8")


if __name__ == "__main__":
    main()
