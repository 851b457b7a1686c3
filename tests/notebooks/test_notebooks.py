"""Notebooks run from top to bottom, and are committed without what they print and draw."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

import transcriber

ROOT = Path(__file__).resolve().parents[2]
PACKAGE_PARENT = Path(transcriber.__file__).resolve().parents[1]
NOTEBOOKS = sorted((ROOT / "notebooks").glob("*.ipynb"))


def run(path):
    """Run a notebook in its own kernel with nbmake, in a process without the options of this one."""
    words = ["-m", "pytest", "--nbmake", "--nbmake-timeout=120", "-p", "no:cacheprovider", "-q", str(path)]
    environment = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    # The kernel starts in another folder: a relative path to the package would be lost.
    environment["PYTHONPATH"] = str(PACKAGE_PARENT)
    return subprocess.run(
        [sys.executable, *words], cwd=ROOT, env=environment, capture_output=True, text=True, timeout=180
    )


def test_there_are_notebooks():
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_it_runs_from_top_to_bottom(path):
    finished = run(path)
    assert finished.returncode == 0, finished.stdout[-3000:]
    assert "1 passed" in finished.stdout


def test_a_notebook_that_fails_is_seen(tmp_path):
    document = json.loads(NOTEBOOKS[0].read_text(encoding="utf-8"))
    cell = next(cell for cell in document["cells"] if cell["cell_type"] == "code")
    document["cells"] = [{**cell, "source": ["assert 1 + 1 == 3"]}]
    broken = tmp_path / "broken.ipynb"
    broken.write_text(json.dumps(document), encoding="utf-8")
    assert run(broken).returncode == 1


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.name)
def test_it_is_committed_without_outputs(path):
    cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
    code = [cell for cell in cells if cell["cell_type"] == "code"]
    assert code
    assert [cell["id"] for cell in code if cell["outputs"] or cell["execution_count"] is not None] == []
