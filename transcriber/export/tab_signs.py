r"""The signs of the text tab: how one note is written on its string line, and what each sign means.

A note is a fret number with signs before and after it. Signs before it tell how it is reached (``h``, ``p``,
``/``, ``\``), signs after it what happens to it (``b9``, ``r7``, ``~``). Numbers behind ``b``, ``pb``, ``r``
and ``tr`` are frets, so that ``7b9`` is fret 7 bent until it sounds as fret 9, and ``.5`` is a quarter tone.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from transcriber.draft import DraftNote
from transcriber.records.pitch import pitch_name
from transcriber.records.technique import Technique

LEGEND: tuple[tuple[str, str, str], ...] = (
    ("hammer", "h", "hammer-on to the note that follows the sign"),
    ("pull", "p", "pull-off to the note that follows the sign"),
    ("slide_up", "/", "slide up to the note"),
    ("slide_down", "\\", "slide down to the note"),
    ("slide_picked", "/' \\'", "slide, and pick the note again on arrival"),
    ("slide_in_up", "./", "slide in from somewhere below"),
    ("slide_in_down", ".\\", "slide in from somewhere above"),
    ("slide_out_up", "/.", "slide off upwards"),
    ("slide_out_down", "\\.", "slide off downwards"),
    ("bend", "7b9", "bend fret 7 until it sounds as fret 9 (a full bend)"),
    ("pre_bend", "7pb9", "pre-bend: bent before it is picked"),
    ("release", "r7", "release until it sounds as fret 7"),
    ("quarter", "7b7.5", ".5 is a quarter tone above that fret (half of a half-tone)"),
    ("vibrato", "~", "vibrato"),
    ("trill", "7tr9", "trill between frets 7 and 9"),
    ("grace", "g5", "grace: a quick note before the beat's note"),
    ("harmonic", "<12>", "natural harmonic: touch the string over the fret"),
    ("dead", "x", "dead note: muted, no pitch"),
    ("tied", "(7)", "still sounding: tied, not picked again"),
    ("unplaced", "[D2]", "a pitch that this tuning cannot play (sounding pitch, middle C is C4)"),
    ("crowded", "5+7", "two notes on one string at once: one must be wrong"),
    ("palm_mute", "PM", "palm mute, as far as the dashes go"),
    ("let_ring", "LR", "let ring, as far as the dashes go"),
    ("staccato", "st", "staccato: short"),
)
"""Key, sign and meaning, in the order of the legend."""

TECHNIQUE_ORDER = ("pre_bend", "bend", "release", "vibrato", "trill", "slide_out")
"""Order of the signs after the fret when their times do not tell."""


@dataclass(frozen=True)
class Sign:
    """One note as written: text before the anchor column, text from it on, and the legend keys used."""

    before: str
    text: str
    used: frozenset[str] = field(default=frozenset())


def half_steps(semitones: float) -> str:
    """Write an amount rounded to the nearest quarter tone, such as ``"2"`` or ``"0.5"``."""
    halves = int(semitones * 2 + 0.5)
    return str(halves // 2) + (".5" if halves % 2 else "")


def tied_sign(note: DraftNote) -> Sign:
    """Write a note that goes on sounding from the piece before."""
    height = _held_height(note)
    body = _body(note)[0].strip("<>[]")
    if height and note.fret is not None:
        body = half_steps(note.fret + height)
    return Sign("(", body + ")", frozenset({"tied"}))


def _held_height(note: DraftNote) -> float:
    """Semitones by which a note is still bent when it is held over: 0 where it is released at some time."""
    bends = [one for one in in_order(note.techniques) if one.kind in ("bend", "pre_bend", "release")]
    if not bends or any(one.kind == "release" for one in bends):
        return 0.0
    return bends[-1].semitones or 0.0


def note_sign(note: DraftNote, before: DraftNote | None) -> Sign:
    """Write a note.

    Parameters
    ----------
    note : DraftNote
    before : DraftNote or None
        The note before it on the same string: tells which way a slide goes.

    Returns
    -------
    Sign
        The anchor is the first figure of the fret.
    """
    used: set[str] = set()
    lead = "".join(_lead(one, note, before, used) for one in note.techniques)
    if note.is_grace:
        lead += "g"
        used.add("grace")
    body, key = _body(note)
    if key:
        used.add(key)
    if body[0] == "<":
        lead, body = lead + "<", body[1:]
    tail = "".join(_tail(one, note, used) for one in in_order(note.techniques))
    return Sign(lead, body + tail, frozenset(used))


def joined(signs: Iterable[Sign]) -> Sign:
    """Write several notes that fall on one string at once."""
    first, *others = signs
    if not others:
        return first
    text = "+".join([first.text, *(one.before + one.text for one in others)])
    return Sign(first.before, text, frozenset({"crowded"}).union(first.used, *(one.used for one in others)))


def legend(used: Iterable[str]) -> tuple[str, ...]:
    """Lines that explain the signs used, sign and meaning in two columns."""
    wanted = set(used)
    return tuple(f"{sign:<7}{meaning}" for key, sign, meaning in LEGEND if key in wanted)


def _body(note: DraftNote) -> tuple[str, str | None]:
    if note.has("dead_note"):
        return "x", "dead"
    if note.fret is None or note.string is None:
        return f"[{'x' if note.pitch_midi is None else pitch_name(note.pitch_midi)}]", "unplaced"
    if note.has("natural_harmonic"):
        return f"<{note.fret}>", "harmonic"
    return str(note.fret), None


def _lead(technique: Technique, note: DraftNote, before: DraftNote | None, used: set[str]) -> str:
    """Sign in front of the note that is reached so."""
    if technique.kind in ("hammer_on", "pull_off"):
        key = "hammer" if technique.kind == "hammer_on" else "pull"
        used.add(key)
        return key[0]
    if technique.kind == "slide_in":
        used.add(f"slide_in_{technique.direction or 'up'}")
        return "." + _slope(technique.direction != "down")
    if technique.kind == "slide":
        rising = _rises(technique, note, before)
        used.add("slide_up" if rising else "slide_down")
        if not technique.picked:
            return _slope(rising)
        used.add("slide_picked")
        return _slope(rising) + "'"
    return ""


def _rises(technique: Technique, note: DraftNote, before: DraftNote | None) -> bool:
    if before is None or before.fret is None or note.fret is None:
        return technique.direction != "down"
    return before.fret <= note.fret


def _slope(rising: bool) -> str:
    return "/" if rising else "\\"


def in_order(techniques: tuple[Technique, ...]) -> list[Technique]:
    """Techniques in order of time; slides out come last, those without a time by their usual order."""
    shown = [one for one in techniques if one.kind in TECHNIQUE_ORDER]
    timed = all(one.start_s is not None for one in shown if one.kind not in ("pre_bend", "slide_out"))
    rank = {kind: place for place, kind in enumerate(TECHNIQUE_ORDER)}

    def key(one: Technique) -> tuple[int, float]:
        if not timed or one.kind in ("pre_bend", "slide_out"):
            return (rank[one.kind] if not timed else -1 if one.kind == "pre_bend" else 1, 0.0)
        return (0, one.start_s or 0.0)

    return sorted(shown, key=key)


def _tail(technique: Technique, note: DraftNote, used: set[str]) -> str:
    """Sign behind the fret."""
    if technique.kind == "vibrato":
        used.add("vibrato")
        return "~"
    if technique.kind == "slide_out":
        used.add(f"slide_out_{technique.direction or 'down'}")
        return _slope(technique.direction == "up") + "."
    if technique.kind == "trill":
        used.add("trill")
        return "tr" if technique.to_fret is None else f"tr{technique.to_fret}"
    used.add(technique.kind)
    letters = {"bend": "b", "pre_bend": "pb", "release": "r"}[technique.kind]
    amount = half_steps(technique.semitones or 0.0)
    if amount.endswith(".5"):
        used.add("quarter")
    if note.fret is None or note.string is None or note.has("dead_note"):
        return f"{letters}+{amount}"
    return letters + half_steps((technique.semitones or 0.0) + note.fret)
