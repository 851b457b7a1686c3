"""What stands beside the notes: key, meter, tempo, phrase labels, chords, counting, muting and ringing."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from transcriber.draft import Draft, Phrase
from transcriber.export.counting import count_bar
from transcriber.export.layers import Layer, LayeredScore
from transcriber.export.pitch_names import LETTERS_BY_FIFTHS, MODE_FIFTHS, fifths_of
from transcriber.export.plain_words import one_line
from transcriber.export.score import Event
from transcriber.export.sheet import ly_text, staves
from transcriber.export.sheet.voice import bar_span

PAGE_BREAK_IN_PHRASE, PAGE_BREAK_AT_PHRASE = 800, 0
"""Penalties of page breaking: a page ends inside a phrase only if the phrase is longer than the page."""

LINE_BREAK_AT_PHRASE = -40
"""Penalty of its line breaking: a phrase rather begins a line."""

SWING_EQUATIONS: tuple[tuple[float, str], ...] = (
    (2.5, "\\tuplet 3/2 { 4 8 }"),
    (100.0, "8. 16"),
)
"""How swung eighths are written out, by the largest ratio of long to short."""

TRIPLET_FEEL = (1.75, 2.25)
"""Ratios for which the triplet says it all; others are told in figures too."""

SPANS: tuple[tuple[str, str], ...] = (("palm_mute", "P.M."), ("let_ring", "let ring"))


@dataclass(frozen=True)
class PhraseStart:
    """Where a phrase is labelled, and the bar whose line may end the page before it."""

    at: Fraction
    bar: int
    label: str
    remark: str


def phrase_starts(draft: Draft) -> tuple[PhraseStart, ...]:
    """Where each phrase of a draft begins; a phrase without notes is left out."""
    found = []
    for number, phrase in enumerate(draft.phrases, start=1):
        at = _first_place(draft, phrase)
        if at is None:
            continue
        bar, within = divmod(at, draft.meter.beats)
        later = 1 if within > Fraction(draft.meter.beats, 2) else 0
        label = one_line(phrase.name) or f"Phrase {number}"
        remark = one_line(phrase.remark or phrase.like_words or "")
        found.append(PhraseStart(at, int(bar) + 1 + later, label, remark))
    return tuple(found)


def _first_place(draft: Draft, phrase: Phrase) -> Fraction | None:
    starts = [note.start(draft.meter) for note in draft.phrase_notes(phrase)]
    return min(starts) if starts else None


def skips(points: dict[Fraction, str], score: LayeredScore, draft: Draft, graces: dict[Fraction, int]) -> str:
    """A line of skips with words before the skip at each point, cut at every bar."""
    unit = draft.meter.unit
    cuts = dict.fromkeys(point for point in points)
    bars = range(score.first_bar, score.last_bar + 1)
    end = score.start
    for number in bars:
        start, length = bar_span(score, number, draft.meter.beats)
        cuts[start] = None
        end = start + length
    ordered = sorted(point for point in cuts if score.start <= point < end)
    words = []
    for place, point in enumerate(ordered):
        after = ordered[place + 1] if place + 1 < len(ordered) else end
        count = graces.get(point, 0)
        lead = f"\\grace {{ s{staves.grace_length(count).denominator}*{count} }} " if count else ""
        words.append(f"{points.get(point, '')} {lead}s{ly_text.span((after - point) / unit)}".strip())
    last = points.get(end)
    return "\n".join(words) + (f"\n<>{last}" if last else "")


def frame(
    draft: Draft,
    score: LayeredScore,
    graces: dict[Fraction, int],
    labels: dict[Fraction, str],
    whole: bool = True,
) -> str:
    """The line of skips that carries meter, tempo, labels, breaks and the last bar line."""
    points: dict[Fraction, str] = {}
    meter = draft.meter
    points[score.start] = opening(draft, score) + (" " + tempo(draft) if whole else "")
    breaks = {start.bar for start in phrase_starts(draft)}
    for number in range(score.first_bar + 1, score.last_bar + 1):
        if number in breaks:
            start = Fraction((number - 1) * meter.beats)
            points[start] = (
                f"\\overrideProperty Score.NonMusicalPaperColumn.page-break-penalty #{PAGE_BREAK_AT_PHRASE} "
                f"\\overrideProperty Score.NonMusicalPaperColumn.line-break-penalty #{LINE_BREAK_AT_PHRASE}"
            )
    for at, label in labels.items():
        points[at] = (points.get(at, "") + " " + label).strip()
    return skips(points, score, draft, graces) + (' \\bar "|."' if whole else "")


def opening(draft: Draft, score: LayeredScore) -> str:
    """Meter, key, pickup and bar number at the start."""
    meter = draft.meter
    length = bar_span(score, score.first_bar, meter.beats)[1]
    words = [f"\\time {meter.beats}/{meter.unit}"]
    number = score.first_bar
    if length < meter.beats:
        words.append(f"\\partial {ly_text.span(length / meter.unit)}")
        number += 1
    words.append(f"\\set Score.currentBarNumber = #{number}")
    return " ".join(words)


def tempo(draft: Draft) -> str:
    """Tempo in tapped beats, with the equation of swung eighths."""
    timing = draft.timing
    note = {Fraction(3, 8): "4.", Fraction(1, 4): "4", Fraction(1, 2): "2", Fraction(1, 8): "8"}.get(
        Fraction(timing.meter.tap, timing.meter.unit), "4"
    )
    figure = f'\\concat {{ \\smaller \\rhythm {{ {note} }} " = {timing.tempo_bpm:.0f}" }}'
    if timing.swing is None:
        return f"\\tempo \\markup \\normal-text {figure}"
    written_out = next(text for most, text in SWING_EQUATIONS if timing.swing <= most)
    low, high = TRIPLET_FEEL
    told = "" if low <= timing.swing <= high else f'" about {timing.swing:.1f} : 1"'
    equation = f'\\smaller \\rhythm {{ 8[ 8] }} " = " \\smaller \\rhythm {{ {written_out} }} {told}'
    return f"\\tempo \\markup \\normal-text \\concat {{ {figure} \\hspace #3 {equation} }}"


def key(draft: Draft) -> str:
    """Key signature, empty where no key is known."""
    if draft.key is None:
        return ""
    # The tonic of the key as it is signed: one beyond seven sharps or flats is written as its equal.
    place = fifths_of(draft.key) - MODE_FIFTHS[draft.key.mode]
    alter, letter = divmod(place + 1, len(LETTERS_BY_FIFTHS))
    return f"\\key {LETTERS_BY_FIFTHS[letter].lower()}{ly_text.ALTERATIONS[alter]} \\{draft.key.mode}"


def chord_line(draft: Draft, score: LayeredScore) -> str:
    """Chord names as a line of words, empty where there are none."""
    chords = sorted(draft.chords, key=lambda one: one.start(draft.meter))
    if not chords:
        return ""
    end = bar_span(score, score.last_bar, draft.meter.beats)
    last = end[0] + end[1]
    words = []
    here = score.start
    for place, chord in enumerate(chords):
        start = max(chord.start(draft.meter), here)
        after = chords[place + 1].start(draft.meter) if place + 1 < len(chords) else last
        stop = min(max(after, start), last)
        if start >= last or stop <= start:
            continue
        if start > here:
            words.append(f"\\skip {ly_text.span((start - here) / draft.meter.unit)}")
        name = ly_text.chord_name(chord.name)
        words.append(f"{name}{ly_text.span((stop - start) / draft.meter.unit)}")
        here = stop
    return " ".join(words)


def count_line(draft: Draft, score: LayeredScore) -> str:
    """Counting syllables of the first layer."""
    unit = draft.meter.unit
    words = []
    own = {bar.number: bar for bar in score.layers[0].bars}
    for number in range(score.first_bar, score.last_bar + 1):
        start, length = bar_span(score, number, draft.meter.beats)
        bar = own.get(number)
        if bar is None:
            words.append(f"\\skip {ly_text.span(length / unit)}")
            continue
        if bar.start > start:
            words.append(f"\\skip {ly_text.span((bar.start - start) / unit)}")
        for piece, count in zip(bar.pieces, count_bar(bar, draft.meter), strict=True):
            words.append(f"{ly_text.quoted(count.text)}{ly_text.span(piece.length / unit)}")
    return " ".join(words)


def span_lines(draft: Draft, score: LayeredScore, layer: Layer, used: set[str]) -> list[str]:
    """Muting and ringing over a layer, each as a line of skips of its own."""
    lines = []
    for kind, word in SPANS:
        runs = list(_runs(layer.events, kind))
        if not runs:
            continue
        used.add(kind)
        points: dict[Fraction, str] = {}
        stops: dict[Fraction, str] = {}
        for run in runs:
            text = ly_text.quoted(word)
            if len(run) == 1:
                points[run[0].start] = f"<>^\\markup \\sheetSmall {text}"
                continue
            points[run[0].start] = (
                f"<>-\\tweak bound-details.left.text \\markup \\sheetSmall {text} \\startTextSpan"
            )
            stops[run[-1].start] = "<>\\stopTextSpan"
        for at, word_there in stops.items():
            points[at] = word_there + " " + points.get(at, "")
        lines.append(skips(points, score, draft, {}))
    return lines


def _runs(events: Sequence[Event], kind: str) -> Iterable[list[Event]]:
    run: list[Event] = []
    for event in events:
        if any(note.has(kind) for note in event.notes):
            run.append(event)
        elif run:
            yield run
            run = []
    if run:
        yield run
