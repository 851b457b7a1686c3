"""The index page of a lesson: what its folder holds, and what the draft tells of each phrase.

Every sentence is derived from the draft; the teacher's remarks stand beside them and are marked as theirs.
The page loads nothing but the files of its folder.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from urllib.parse import quote

from transcriber.draft import Draft, DraftNote, Phrase
from transcriber.practice.advice import CAUTION
from transcriber.practice.chapters import clock, phrase_name, phrases_of, plain
from transcriber.practice.facts import head_facts, phrase_facts, place_words
from transcriber.practice.plan import LOUDNESS
from transcriber.records.pitch import pitch_name

VOLUME = 0.3
NECK_KEY = (
    "In the pictures of the neck the filled places are played, in the order of the small numbers; the "
    "outlined ones are the rest of the shape."
)
GROUND, INK, LINE, LINK = "#fbfaf6", "#22303c", "#b9b2a3", "#1f4e79"

STYLE = f"""
:root {{ color-scheme: light; }}
body {{ background: {GROUND}; color: {INK}; font: 17px/1.5 Georgia, "DejaVu Serif", serif; margin: 0 auto;
  max-width: 62rem; padding: 1.5rem 1rem 4rem; overflow-wrap: anywhere; }}
h1 {{ font-size: 1.7rem; margin: 0; }}
h2 {{ font-size: 1.25rem; border-top: 1px solid {LINE}; padding-top: 1.2rem; }}
h3 {{ font-size: 1rem; margin: 1rem 0 .3rem; }}
a {{ color: {LINK}; }}
img {{ display: block; max-width: 100%; height: auto; margin: .6rem 0; }}
blockquote {{ border-left: 3px solid {INK}; margin: .8rem 0; padding: .1rem 1rem; }}
blockquote cite {{ display: block; font-style: normal; font-size: .85rem; }}
.tab {{ overflow-x: auto; }}
.tab img {{ max-width: none; width: max(100%, 50rem); }}
.loops {{ display: grid; grid-template-columns: repeat(auto-fit, minmax(13.5rem, 1fr)); gap: .6rem 1.2rem; }}
.loops audio {{ width: 100%; }}
.quiet {{ font-size: .9rem; }}
@media print {{
  body {{ font-size: 11pt; max-width: none; padding: 0; }}
  .sound {{ display: none; }}
  .tab img {{ width: 100%; }}
  h2 {{ break-after: avoid; }} img, blockquote {{ break-inside: avoid; }}
}}
"""
SCRIPT = f"for (const sound of document.querySelectorAll('audio')) sound.volume = {VOLUME};"


@dataclass(frozen=True)
class LoopLink:
    """A loop of a phrase: its speed in percent, its file and the one with a count-in."""

    speed: int
    loop: str
    counted: str


@dataclass(frozen=True)
class PhraseFiles:
    """Files of one phrase: picture of the neck, that of the tab (None where it is left out), loops."""

    neck: str
    tab: str | None = None
    loops: tuple[LoopLink, ...] = ()


@dataclass(frozen=True)
class Contents:
    """What stands in the folder.

    Attributes
    ----------
    title : str
    files : tuple of (str, str)
        Name and what it is.
    phrases : tuple of PhraseFiles
        One for each phrase of `phrases_of`.
    left_out : tuple of str
        What could not be made, and why.
    """

    title: str
    files: tuple[tuple[str, str], ...]
    phrases: tuple[PhraseFiles, ...]
    left_out: tuple[str, ...] = ()


def index_page(draft: Draft, contents: Contents) -> str:
    """Write the page.

    Parameters
    ----------
    draft : Draft
        Explained, corrections applied.
    contents : Contents
    """
    links = "".join(f"<li>{_link(name)}: {escape(about)}</li>\n" for name, about in contents.files)
    missing = "".join(f"<p class=quiet>Left out: {escape(words)}</p>\n" for words in contents.left_out)
    phrases = zip(phrases_of(draft), contents.phrases, strict=True)
    sections = "".join(
        _section(draft, phrase, number, files) for number, (phrase, files) in enumerate(phrases, start=1)
    )
    title = escape(plain(contents.title))
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{title}</title>\n<style>{STYLE}</style></head><body>\n"
        f"<h1>{title}</h1>\n<p>{escape(head_facts(draft))}</p>\n"
        f"<p class=quiet>{escape(LOUDNESS)} The players on this page begin at {VOLUME * 100:.0f} % of full "
        f"volume. {escape(CAUTION)}</p>\n"
        f"<ul>\n{links}</ul>\n{missing}{_jumps(draft)}{sections}"
        "<p class=quiet>Everything here but the teacher's remarks is derived from the draft.</p>\n"
        f"<script>{SCRIPT}</script>\n</body></html>\n"
    )


def _link(name: str, words: str | None = None, more: str = "") -> str:
    return f'<a href="{quote(name)}"{more}>{escape(words or name)}</a>'


def _jumps(draft: Draft) -> str:
    """Links to the phrases, and how their pictures are to be read."""
    phrases = phrases_of(draft)
    if not phrases:
        return ""
    jumps = " · ".join(
        f'<a href="#phrase-{number}">{escape(phrase_name(phrase, number))}</a> ({clock(phrase.start_s)})'
        for number, phrase in enumerate(phrases, start=1)
    )
    return f"<p>{jumps}</p>\n<p class=quiet>{NECK_KEY}</p>\n"


def _section(draft: Draft, phrase: Phrase, number: int, files: PhraseFiles) -> str:
    name = phrase_name(phrase, number)
    pictures = ""
    if files.tab is not None:
        # Narrow screens scroll the tab sideways: shrunk to their width it could not be read.
        pictures += (
            f'<div class=tab tabindex=0 role=region aria-label="Tab of {escape(name)}">'
            f'<img src="{quote(files.tab)}" alt="Tab of {escape(name)}"></div>\n'
        )
    places = _places_spoken(draft.phrase_notes(phrase))
    pictures += f'<img src="{quote(files.neck)}" alt="{escape(places)}">\n'
    return (
        f'<section id="phrase-{number}">\n'
        f"<h2>{escape(name)} <small>({clock(phrase.start_s)})</small></h2>\n"
        f"<p>{escape(' '.join(phrase_facts(draft, phrase)))}</p>\n"
        f"{_remarks(draft, phrase)}{pictures}{_players(files.loops, draft.timing.tempo_bpm)}</section>\n"
    )


def _players(loops: Sequence[LoopLink], tempo_bpm: float) -> str:
    if not loops:
        return ""
    players = "".join(
        f"<div>{link.speed} %, {tempo_bpm * link.speed / 100:.0f} beats a minute "
        f"({_link(link.counted, 'with count-in', ' download')})"
        f'<audio controls loop preload="none" src="{quote(link.loop)}"></audio></div>\n'
        for link in loops
    )
    return (
        "<h3 class=sound>To play along with, round and round</h3>\n"
        f'<div class="loops sound">\n{players}</div>\n'
    )


def _places_spoken(notes: Sequence[DraftNote]) -> str:
    places = dict.fromkeys(
        f"string {note.string} fret {note.fret}" for note in notes if note.string and note.fret is not None
    )
    return f"Neck of the guitar; it is played at {', '.join(places)}" if places else "Neck of the guitar"


def _remarks(draft: Draft, phrase: Phrase) -> str:
    told = [("", phrase.remark)] if phrase.remark else []
    for note in draft.phrase_notes(phrase):
        if note.remark:
            pitch = "dead note" if note.pitch_midi is None else pitch_name(note.pitch_midi)
            told.append((f" on {place_words(note)} ({pitch})", note.remark))
    return "".join(
        f"<blockquote><cite>The teacher's remark{escape(where)}</cite>{escape(plain(words))}</blockquote>\n"
        for where, words in told
    )
