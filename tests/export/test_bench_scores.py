"""MusicXML of every bench line, as a flawless draft of it would be: valid, re-read and engraved."""

from __future__ import annotations

import pytest
from bench_drafts import bench_lines, truth_draft
from musicxml_reading import (
    assert_music21_agrees,
    assert_music21_reads_techniques,
    draw_all,
    expected,
    faults,
    read_notes,
)

from transcriber.export.musicxml import musicxml_bytes

LINES_BY_DEFAULT = 12
"""Every so many lines are read in a default run."""

DEFAULT_LINES = 3
"""Lines of each condition, split and guitar in the whole bench, as many as its reports have."""


def check(draft) -> None:
    both, notation = musicxml_bytes(draft), musicxml_bytes(draft, "notation")
    assert faults(both) == faults(notation) == faults(musicxml_bytes(draft, "tab")) == []
    assert read_notes(both, 1) == read_notes(both, 2) == expected(draft)
    assert_music21_agrees(draft, notation)
    assert_music21_reads_techniques(draft, notation)


@pytest.mark.parametrize(
    ("name", "line", "seed"), list(bench_lines(1))[::LINES_BY_DEFAULT], ids=lambda value: str(value)[:24]
)
def test_some_lines(name: str, line, seed: int) -> None:
    check(truth_draft(line, seed))


@pytest.mark.accuracy
def test_every_line_is_valid_and_read_back_by_music21() -> None:
    listed = list(bench_lines(DEFAULT_LINES))
    for _, line, seed in listed:
        check(truth_draft(line, seed))
    assert len(listed) > 300


@pytest.mark.accuracy
def test_verovio_draws_every_line_without_a_word(tmp_path) -> None:
    drafts = {name: truth_draft(line, seed) for name, line, seed in bench_lines(DEFAULT_LINES)}
    draw_all(tmp_path, {name: musicxml_bytes(draft) for name, draft in drafts.items()})
