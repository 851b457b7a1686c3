"""README.md keeps its order and shows what the program wrote."""

import re
from pathlib import Path

import pytest

from transcriber.cli.parser import build_parser

ROOT = Path(__file__).resolve().parents[2]
TEXT = (ROOT / "README.md").read_text(encoding="utf-8")
DOCUMENTS = ("README.md", "DEVELOPERS.md")
LINK = re.compile(r"!?\[[^\]]*\]\(([^)#]+)\)")


def test_job_then_the_run_then_the_tests():
    blocks = re.findall(r"^```(\w*)\n(.*?)^```", TEXT, flags=re.MULTILINE | re.DOTALL)
    assert [language for language, _ in blocks[:2]] == ["sh", "sh"]
    assert "transcriber draft sample_audio_generated/" in blocks[0][1]
    assert "pip install" in blocks[1][1]
    assert "pytest" in blocks[1][1]
    assert "sh" not in [language for language, _ in blocks[2:]]


def test_the_sample_of_the_first_command_is_shipped():
    (sample,) = re.findall(r"transcriber draft (\S+\.flac)", TEXT)
    assert (ROOT / sample).is_file()


def test_the_tab_shown_is_the_one_that_was_written():
    shown = re.search(r"<!-- tab -->\n```text\n(.*?)```\n<!-- end of tab -->", TEXT, flags=re.DOTALL)
    assert shown is not None
    assert shown[1] == (ROOT / ".readme" / "diesel_and_rain.txt").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", DOCUMENTS)
def test_links_lead_somewhere(name):
    targets = LINK.findall((ROOT / name).read_text(encoding="utf-8"))
    assert [target for target in targets if "://" not in target and not (ROOT / target).exists()] == []


def test_the_licence_comes_last_and_whole():
    *_, last = re.split(r"^## ", TEXT, flags=re.MULTILINE)
    assert last.startswith("Licence\n")
    assert "MIT License" in last
    assert "Copyright (c) 2026 The transcriber authors" in last
    assert last.rstrip().endswith("SOFTWARE.")


def test_every_option_of_draft_has_its_line():
    _, commands = build_parser()
    options = [flag for action in commands["draft"]._actions for flag in action.option_strings]
    known = {flag for flag in options if flag.startswith("--")}
    table = TEXT.split("## Options of")[1].split("\n## ")[0]
    told = set(re.findall(r"`[^`]*?(--[a-z][a-z-]*)", table))
    assert known - told - {"--help", "--verbose", "--quiet"} == set()
    assert told <= known
