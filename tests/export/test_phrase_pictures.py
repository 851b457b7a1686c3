"""Tab pictures of phrases: what they show, when they are shown, and that nothing stands behind the lines."""

from __future__ import annotations

import io
import json
import re
import sys
from dataclasses import replace
from fractions import Fraction
from importlib.util import find_spec

import export_drafts as lines
import pytest
from generated_drafts import written_drafts
from hypothesis import HealthCheck, Phase, given, settings

from transcriber.draft import Draft, Phrase
from transcriber.errors import DraftError, UsageError
from transcriber.export.layers import layered
from transcriber.export.sheet import phrase_pictures as pictures

needs_lilypond = pytest.mark.skipif(
    find_spec("lilypond") is None or find_spec("PIL") is None, reason="lilypond or Pillow is not installed"
)


def two_phrases() -> Draft:
    """Two bars of frets 1 to 8 and two of 11 to 18; the second phrase begins with a pickup in bar 2."""
    notes = [(Fraction(step), "1", 3, step + 1) for step in range(7)]
    notes += [(Fraction(7 + step), "1", 2, 11 + step) for step in range(7)]
    draft = lines.build(notes)
    turn = draft.notes[7].onset_s - 0.01
    phrases = (Phrase("p1", "Ferry", None, 0.4, turn), Phrase("p2", 'The "answer"', None, turn, 20.0))
    return replace(draft, phrases=phrases)


@needs_lilypond
def test_the_picture_for_a_time_shows_the_phrase_that_sounds_then() -> None:
    draft = two_phrases()
    files = pictures.phrase_pictures(draft)
    told = json.loads(files[".phrases.json"])["pictures"]
    assert list(files) == [".phrase-01.png", ".phrase-02.png", ".phrases.json"]
    books = pictures.pictures_source(draft, list(draft.phrases)).split("\\book {")[1:]
    for note in draft.notes:
        shown = [place for place, one in enumerate(told) if one["from_s"] <= note.onset_s < one["to_s"]]
        assert len(shown) == 1
        assert told[shown[0]]["suffix"] == f".phrase-{shown[0] + 1:02d}.png"
        assert fretted(books[shown[0]]).count((note.string, note.pitch_midi)) == 1
    assert [len(fretted(book)) for book in books] == [7, 7]
    assert [one["name"] for one in told] == ["Ferry", 'The "answer"']


def fretted(book: str) -> list[tuple[int, int]]:
    """String and pitch of every head of a tab staff, out of LilyPond's text."""
    steps = {"c": 0, "d": 2, "e": 4, "f": 5, "g": 7, "a": 9, "b": 11}
    found = []
    for letter, sign, marks, string in re.findall(r"<([a-g])(is|es|)([',]*)\\(\d+)>", book):
        octave = 48 + 12 * marks.count("'") - 12 * marks.count(",")
        found.append((int(string), octave + steps[letter] + {"is": 1, "es": -1, "": 0}[sign]))
    return found


@needs_lilypond
@pytest.mark.parametrize(("ink", "grey"), [("dark", 0), ("light", 255)])
def test_the_ground_is_transparent(ink: str, grey: int) -> None:
    from PIL import Image

    files = pictures.phrase_pictures(two_phrases(), ink)
    picture = Image.open(io.BytesIO(files[".phrase-01.png"]))
    lines_of, cover = picture.split()
    assert picture.mode == "LA"
    assert picture.width == 1920
    assert lines_of.getextrema() == (grey, grey)
    assert cover.getextrema() == (0, 255)
    share = cover.histogram()[0] / (picture.width * picture.height)
    assert share > 0.8
    assert cover.crop((0, 0, picture.width, pictures.MARGIN_PX)).getextrema() == (0, 0)


def test_a_phrase_begins_with_its_first_note() -> None:
    draft = two_phrases()
    part = replace(draft, notes=draft.phrase_notes(draft.phrases[1]))
    score = pictures.without_rests_before(layered(part))
    assert (score.start, score.first_bar, score.last_bar) == (7, 2, 4)
    assert [bar.start for bar in score.layers[0].bars] == [7, 8, 12]


@settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=list(HealthCheck),
    phases=(Phase.explicit, Phase.generate),
)
@given(written_drafts())
def test_what_is_left_out_before_a_phrase_is_only_silence(draft: Draft) -> None:
    whole = layered(draft)
    cut = pictures.without_rests_before(whole)
    for before, after in zip(whole.layers, cut.layers, strict=True):
        kept = [piece for bar in after.bars for piece in bar.pieces]
        sounding = [piece for bar in before.bars for piece in bar.pieces if piece.event is not None]
        assert [piece for piece in kept if piece.event is not None] == sounding
        for bar in after.bars:
            assert sum((piece.length for piece in bar.pieces), Fraction(0)) == bar.length


def test_nothing_to_draw_is_said() -> None:
    with pytest.raises(DraftError, match="no notes"):
        pictures.phrase_pictures(replace(two_phrases(), notes=()))


@needs_lilypond
def test_without_pillow_the_message_tells_how_to_get_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "PIL", None)
    with pytest.raises(UsageError, match=r"pip install 'transcriber\[sheet\]'"):
        pictures.phrase_pictures(two_phrases())
