"""Plain facts of a phrase: every sentence follows from the draft, none is made up."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction

from transcriber.draft import Draft, DraftNote, Key, Phrase, Shape
from transcriber.records.pitch import SEMITONES, open_string_names

TECHNIQUE_WORDS = {
    "bend": ("bend", "bends"),
    "pre_bend": ("pre-bend", "pre-bends"),
    "release": ("release", "releases"),
    "vibrato": ("vibrato", "vibratos"),
    "slide": ("slide", "slides"),
    "slide_in": ("slide in", "slides in"),
    "slide_out": ("slide out", "slides out"),
    "hammer_on": ("hammer-on", "hammer-ons"),
    "pull_off": ("pull-off", "pull-offs"),
    "grace": ("grace note", "grace notes"),
    "trill": ("trill", "trills"),
    "palm_mute": ("palm-muted note", "palm-muted notes"),
    "dead_note": ("dead note", "dead notes"),
    "natural_harmonic": ("natural harmonic", "natural harmonics"),
    "staccato": ("staccato note", "staccato notes"),
    "let_ring": ("note left to ring", "notes left to ring"),
}
BEND_WORDS = {
    0.5: "a quarter tone",
    1.0: "a semitone",
    1.5: "three quarter tones",
    2.0: "a whole tone",
    3.0: "a tone and a half",
    4.0: "two tones",
}
SPANS = ("pentatonic_box", "major_scale_shape", "position")
DEGREES = ("1", "b2", "2", "#2", "b3", "3", "4", "#4", "b5", "5", "#5", "b6", "6", "bb7", "b7", "7")
# What the program found is never called certain.
_SUREST = 0.99


def phrase_facts(draft: Draft, phrase: Phrase) -> tuple[str, ...]:
    """Sentences about one phrase.

    Parameters
    ----------
    draft : Draft
        Explained: with key, shapes and what makes each phrase hard.
    phrase : Phrase
    """
    notes = draft.phrase_notes(phrase)
    if not notes:
        return ("It has no notes.",)
    sentences = [_extent(notes), *_places(draft, phrase), *_harmony(draft, notes), _techniques(notes)]
    sentences += [*_hard(phrase), *_doubts(draft, notes)]
    if phrase.like_words:
        sentences.append(f"It goes {phrase.like_words}.")
    return tuple(sentences)


def head_facts(draft: Draft) -> str:
    """The whole line in a sentence: notes, tempo, meter, key, tuning, capo."""
    tap = draft.meter.tap
    beats = "beats" if tap == 1 else f"beats of {tap}/{draft.meter.unit}"
    parts = [
        counted(len(draft.notes), "note", "notes"),
        f"{draft.timing.tempo_bpm:.0f} {beats} a minute",
        str(draft.meter),
    ]
    if draft.timing.swing:
        parts.append(f"swung {draft.timing.swing:g} to 1")
    if draft.key is not None:
        parts.append(_key_words(draft.key))
    tuning = draft.instrument.tuning_midi[::-1]
    names = zip(open_string_names(tuning), tuning, strict=True)
    strings = " ".join(f"{name}{pitch // SEMITONES - 1}" for name, pitch in names)
    parts.append(f"strings tuned {strings}")
    if draft.instrument.capo:
        parts.append(f"capo at fret {draft.instrument.capo}, frets counted from it")
    return ", ".join(parts) + "."


def _key_words(key: Key) -> str:
    sure = "" if key.given else f" (found by the program, {min(key.confidence, _SUREST):.0%} sure)"
    return f"{key.tonic} {key.mode}{sure}".replace("%", " %")


def counted(number: int, one: str, more: str) -> str:
    """Number and word, such as ``3 notes``."""
    return f"{number} {one if number == 1 else more}"


def listed(words: Sequence[str]) -> str:
    """Words in a row, such as ``1, 2 and 3``."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def beat_words(beat: Fraction) -> str:
    """Beat as it is said, such as ``2+1/2``."""
    whole, part = divmod(beat, 1)
    return f"{whole}+{part}" if part else f"{whole}"


def place_words(note: DraftNote) -> str:
    """Where a note stands, such as ``bar 1, beat 2+1/2``."""
    return f"{bar_words(note.bar)}, beat {beat_words(note.beat)}"


def bar_words(bar: int) -> str:
    """Bar by its number; bar 0 is the pickup."""
    return "the pickup" if bar == 0 else f"bar {bar}"


def phrase_shapes(draft: Draft, phrase: Phrase, kinds: Sequence[str] = SPANS) -> tuple[Shape, ...]:
    """Shapes of these kinds that reach into a phrase, in order of time."""
    return tuple(
        shape
        for shape in draft.shapes
        if shape.kind in kinds and shape.start_s < phrase.end_s and shape.end_s > phrase.start_s
    )


def _extent(notes: Sequence[DraftNote]) -> str:
    bars = sorted({note.bar for note in notes})
    names = [bar_words(bar) for bar in bars]
    if len(names) == 1:
        where = names[0]
    elif bars[0] == 0:
        where = f"the pickup to {names[-1]}"
    else:
        where = f"bars {bars[0]} to {bars[-1]}"
    strings = [str(each) for each in sorted({note.string for note in notes if note.string is not None})]
    on = ""
    if strings:
        on = f" on string {strings[0]}" if len(strings) == 1 else f" on strings {listed(strings)}"
    return f"{where[0].upper()}{where[1:]}, {counted(len(notes), 'note', 'notes')}{on}."


def _places(draft: Draft, phrase: Phrase) -> list[str]:
    told = []
    for shape in phrase_shapes(draft, phrase):
        hand = (
            "In open position" if shape.position == 0 else f"With the index finger at fret {shape.position}"
        )
        also = f" (the same notes as {', '.join(shape.also)})" if shape.also else ""
        frets = f"frets {shape.lowest_fret} to {shape.highest_fret}"
        if shape.kind == "position":
            told.append(f"{hand}, {frets}: no scale shape holds most of its notes.")
        else:
            told.append(f"{hand}: {shape.name}{also}, {frets}.")
    figures = dict.fromkeys(
        shape.name
        for shape in phrase_shapes(draft, phrase, ("triad", "half_step_approach", "chromatic_run"))
        if shape.start_s >= phrase.start_s - 1e-6
    )
    if figures:
        told.append(f"Within it: {listed(list(figures))}.")
    # Phrases that overlap part a shape where one of them begins; that is said once.
    return list(dict.fromkeys(told))


def _harmony(draft: Draft, notes: Sequence[DraftNote]) -> list[str]:
    told = []
    degrees = {note.meaning.degree for note in notes if note.meaning is not None}
    if draft.key is not None and degrees:
        told.append(f"Degrees in {draft.key.tonic} {draft.key.mode}: {', '.join(_in_order(degrees))}.")
    over: dict[str, list[str]] = {}
    for note in notes:
        if note.meaning is not None and note.meaning.chord and note.meaning.chord_degree:
            found = over.setdefault(note.meaning.chord, [])
            if note.meaning.chord_degree not in found:
                found.append(note.meaning.chord_degree)
    told += [f"Over {chord} it plays {', '.join(degrees)}." for chord, degrees in over.items()]
    return told


def _in_order(degrees: set[str]) -> list[str]:
    return sorted(degrees, key=lambda each: (DEGREES.index(each) if each in DEGREES else len(DEGREES), each))


def _techniques(notes: Sequence[DraftNote]) -> str:
    count: Counter[str] = Counter(each.kind for note in notes for each in note.techniques)
    parts = [counted(count[kind], *words) for kind, words in TECHNIQUE_WORDS.items() if count[kind]]
    free = sum(each.optional for note in notes for each in note.techniques)
    optional = f"; {free} of them may be left out" if free else ""
    return f"Techniques: {listed(parts)}{optional}." if parts else "Every note is picked, without techniques."


def _hard(phrase: Phrase) -> list[str]:
    hard = phrase.hard
    if hard is None:
        return []
    fastest = f"fastest passage {hard.notes_a_second:.1f} notes a second"
    parts = [fastest] if hard.notes_a_second > 0 else []
    if hard.stretch_frets:
        parts.append(f"widest stretch {counted(hard.stretch_frets, 'fret', 'frets')}")
    if hard.shift_frets:
        parts.append(f"largest shift of the hand {counted(hard.shift_frets, 'fret', 'frets')}")
    parts += [
        f"{counted(bend.times, 'bend', 'bends')} of {bend_words(bend.semitones)}" for bend in hard.bends
    ]
    return [f"What makes it hard: {', '.join(parts)}."] if parts else []


def bend_words(semitones: float) -> str:
    """Height of a bend in words, such as ``a whole tone``."""
    return BEND_WORDS.get(semitones, f"{semitones:g} semitones")


def _doubts(draft: Draft, notes: Sequence[DraftNote]) -> list[str]:
    asked = {each for issue in draft.issues if issue.code == "check_note" for each in issue.notes}
    unsure: dict[int, list[str]] = {}
    for note in notes:
        if note.id in asked and beat_words(note.beat) not in unsure.setdefault(note.bar, []):
            unsure[note.bar].append(beat_words(note.beat))
    parts = [f"{bar_words(bar)}, beat {listed(beats)}" for bar, beats in unsure.items()]
    return [f"The draft is not sure of {'; '.join(parts)}."] if parts else []
