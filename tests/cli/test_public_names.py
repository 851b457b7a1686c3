"""The package's public names, and what importing it costs."""

import logging
import subprocess
import sys

import pytest

import transcriber

HEAVY = ("numpy", "scipy", "soundfile", "soxr", "rich", "mido", "jsonschema", "librosa")


@pytest.mark.parametrize("name", transcriber.__all__)
def test_every_public_name_is_there_and_documented(name):
    value = getattr(transcriber, name)
    assert isinstance(value, str) or value.__doc__
    assert name in dir(transcriber)


def test_an_unknown_name_is_an_attribute_error():
    with pytest.raises(AttributeError, match="nothing_like_this"):
        transcriber.nothing_like_this  # noqa: B018


def test_nothing_is_logged_unless_asked_for():
    handlers = logging.getLogger("transcriber").handlers
    assert any(isinstance(handler, logging.NullHandler) for handler in handlers)


@pytest.mark.parametrize(
    "statement",
    [
        "import transcriber",
        "from transcriber.cli import run; run(['--help'])",
        "from transcriber.cli import run; run(['draft', '--help'])",
        "from transcriber.cli import run; run(['--version'])",
        "from transcriber.cli import run; run(['draft', '--tepmo'])",
    ],
)
def test_nothing_heavy_is_imported_for_it(statement):
    code = f"{statement}\nimport sys\nprint('loaded:', *sorted(set(sys.modules) & set({HEAVY!r})))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "loaded:"


def test_threads_are_capped_before_numpy_is_imported():
    code = (
        "from transcriber.cli import run\nrun(['draft', 'missing.wav', '--jobs', '1', '-q'])\n"
        "import numpy\nimport threadpoolctl\n"
        "print(max([pool['num_threads'] for pool in threadpoolctl.threadpool_info()], default=1))"
    )
    pytest.importorskip("threadpoolctl")
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "1"
