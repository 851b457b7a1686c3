"""Every command that README.md shows can be read by the program."""

import re
import shlex
from pathlib import Path

import pytest

from transcriber.cli.parser import parse

README = Path(__file__).resolve().parents[2] / "README.md"
FENCE = re.compile(r"^```[^\n]*\n(.*?)^```", flags=re.MULTILINE | re.DOTALL)
CALL = re.compile(r"^(?:\$ )?(?:\S*/)?(?:transcriber|python3? -m transcriber)(?:\s+(.*))?$")


def documented_commands(text):
    """Arguments of each call of the program in the code blocks; chained commands and comments apart."""
    found = []
    for block in FENCE.findall(text):
        for line in block.replace("\\\n", " ").splitlines():
            for part in re.split(r"\s*(?:&&|\|\||;|\|)\s*", line.strip()):
                if match := CALL.match(part):
                    found.append(shlex.split(match[1] or "", comments=True))
    return found


@pytest.mark.skipif(not README.is_file(), reason="there is no README.md")
def test_documented_commands_can_be_read():
    commands = documented_commands(README.read_text(encoding="utf-8"))
    assert commands, "README.md shows no command"
    for words in commands:
        if set(words) & {"-h", "--help"}:
            continue
        parse(words)


def test_commands_are_found_wherever_they_stand():
    text = (
        "transcriber not in a block\n```sh\n$ transcriber draft a.wav --tempo 90  # slow\n"
        "cd x && python -m transcriber draft 'b c.wav' \\\n  --force\n.venv/bin/transcriber --version\n"
        "transcriber-other draft\n```\n"
    )
    assert documented_commands(text) == [
        ["draft", "a.wav", "--tempo", "90"],
        ["draft", "b c.wav", "--force"],
        ["--version"],
    ]
