"""Judge a draft against the truth of its take.

Task
----
Both are documents with the draft's keys (`notes` with onset_s, end_s, pitch_midi, string, fret, bar, beat,
length, techniques; `timing` with tempo_bpm and meter). Only these are read.

Conventions
-----------
- Notes are matched by `mir_eval.transcription.match_notes` (Raffel et al., ISMIR 2014): onset within 50 ms,
  pitch within 50 cents, offsets ignored. The pitch is the fretted one. All other figures speak of the pairs.
- *Start*: bar and beat as in the truth after one shift of the whole take by whole beats, the shift that makes
  most notes right (the smallest, if several do). *Rhythm*: length exactly right too.
- *Downbeat*: that shift is a whole number of bars.
- *Techniques*: six kinds; a hammer-on or pull-off is a slur. Counted over all notes, so that a missed
  note's techniques are missed and an extra note's are extra.
- *Corrections*: missed + extra + found notes that are wrong in place, rhythm or technique kinds (one each).
- *Honesty*: over the draft's notes, how often a wrong one (extra, or needing correction) has a lower
  overall confidence than a right one; ties count half. Where the sound does not come from the strings that
  the truth names, place is left out, as a fault and as a factor: nobody can be sure of a string that was not
  played.

Deviations
----------
A technique marked optional in the truth may be left out. A note without pitch (a dead note) is not judged.
Figures are kept as counts (`Tally`) so that takes pool by adding up.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field, fields
from fractions import Fraction
from typing import Any

import mir_eval
import numpy as np

from transcriber.draft.sureness import SURE_FROM

ONSET_TOLERANCE_S = 0.05
PITCH_TOLERANCE_CENTS = 50.0
TEMPO_TOLERANCE = 0.04
KIND_OF = {
    "bend": "bend",
    "pre_bend": "pre_bend",
    "release": "release",
    "vibrato": "vibrato",
    "slide": "slide",
    "hammer_on": "slur",
    "pull_off": "slur",
}
KINDS = ("bend", "pre_bend", "release", "vibrato", "slide", "slur")
_ASPECTS_HEARD = ("pitch", "onset", "rhythm", "technique")
_ROUNDING = 1e-9
Document = dict[str, Any]
Note = dict[str, Any]


@dataclass
class Tally:
    """Counts of one take, or of several added up."""

    takes: int = 0
    true_notes: int = 0
    draft_notes: int = 0
    found: int = 0
    found_with_offset: int = 0
    start_right: int = 0
    rhythm_right: int = 0
    downbeat_right: int = 0
    tempo_right: int = 0
    tempo_right_or_octave: int = 0
    place_right: int = 0
    technique_right: int = 0
    corrections: int = 0
    bends_compared: int = 0
    bends_within_half: int = 0
    bends_within_quarter: int = 0
    hits: Counter[str] = field(default_factory=Counter)
    false: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    right_confidences: list[float] = field(default_factory=list)
    wrong_confidences: list[float] = field(default_factory=list)

    def __add__(self, other: Tally) -> Tally:
        """Pool two tallies."""
        return Tally(**{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)})

    def to_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {f.name: _plain(getattr(self, f.name)) for f in fields(self)}

    @staticmethod
    def from_dict(values: dict[str, Any]) -> Tally:
        """Read what `to_dict` wrote."""
        counters = ("hits", "false", "missed")
        return Tally(**{key: Counter(value) if key in counters else value for key, value in values.items()})


@dataclass(frozen=True)
class Pair:
    """A true note, the draft's note matched to it (either may be missing), and what is wrong with it."""

    truth: Note | None
    draft: Note | None
    wrong: tuple[str, ...]


@dataclass(frozen=True)
class Judgement:
    """Counts of a take and its notes side by side.

    Attributes
    ----------
    tally : Tally
    pairs : tuple of Pair
    shift_beats : int
        The shift by whole beats under which starts were compared.
    commonest_offset : Fraction or None
        Most frequent distance of a drafted from a true start, in beats: 1/2 tells a take half a beat off.
    """

    tally: Tally
    pairs: tuple[Pair, ...]
    shift_beats: int
    commonest_offset: Fraction | None


def judge(truth: Document, draft: Document, strings_told: bool = True) -> Judgement:
    """Judge one draft.

    Parameters
    ----------
    truth, draft : dict
        Documents with the draft's keys.
    strings_told : bool
        Whether the sound comes from the strings that the truth names.
    """
    true_notes, draft_notes = _pitched(truth), _pitched(draft)
    matches = _match(true_notes, draft_notes, None)
    beats = _beats_a_bar(truth)
    shift = _best_shift([(true_notes[i], draft_notes[j]) for i, j in matches], beats)
    tally = Tally(takes=1, true_notes=len(true_notes), draft_notes=len(draft_notes), found=len(matches))
    tally.found_with_offset = len(_match(true_notes, draft_notes, 0.2))
    tally.downbeat_right = int(bool(matches) and shift % beats == 0)
    _judge_tempo(truth, draft, tally)
    partner = dict(matches)
    pairs = []
    for i, note in enumerate(true_notes):
        if i in partner:
            pair = _judge_pair(note, draft_notes[partner[i]], shift, beats, tally)
            faults = set(pair.wrong) - {"bend amount"} - (set() if strings_told else {"place"})
            confidences = tally.wrong_confidences if faults else tally.right_confidences
            confidences.append(_confidence(draft_notes[partner[i]], strings_told))
            pairs.append(pair)
        else:
            tally.missed.update(_kinds(note))
            pairs.append(Pair(note, None, ("missed",)))
    matched = set(partner.values())
    for j, note in enumerate(draft_notes):
        if j not in matched:
            tally.false.update(_kinds(note))
            tally.wrong_confidences.append(_confidence(note, strings_told))
            pairs.append(Pair(None, note, ("extra",)))
    tally.corrections = sum(bool(pair.wrong and set(pair.wrong) != {"bend amount"}) for pair in pairs)
    pairs.sort(key=lambda pair: (pair.truth or pair.draft or {})["onset_s"])
    offsets = Counter(_position(draft_notes[j], beats) - _position(true_notes[i], beats) for i, j in matches)
    commonest = offsets.most_common(1)[0][0] if offsets else None
    return Judgement(tally, tuple(pairs), shift, commonest)


def figures(tally: Tally) -> dict[str, float | None]:
    """Turn counts into the figures of the report; None where nothing was counted."""
    hits, false, missed = (sum(c.values()) for c in (tally.hits, tally.false, tally.missed))
    right, wrong = np.array(tally.right_confidences), np.array(tally.wrong_confidences)
    sure_right, sure_wrong = int(np.sum(right >= SURE_FROM)), int(np.sum(wrong >= SURE_FROM))
    return {
        "takes": tally.takes,
        "true notes": tally.true_notes,
        "note F": _f_measure(tally.found, tally.draft_notes, tally.true_notes),
        "note F with offsets": _f_measure(tally.found_with_offset, tally.draft_notes, tally.true_notes),
        "start": _share(tally.start_right, tally.found),
        "rhythm": _share(tally.rhythm_right, tally.found),
        "downbeat": _share(tally.downbeat_right, tally.takes),
        "tempo": _share(tally.tempo_right, tally.takes),
        "tempo or half/double": _share(tally.tempo_right_or_octave, tally.takes),
        "techniques F": _f_measure(hits, hits + false, hits + missed),
        "bend within .5": _share(tally.bends_within_half, tally.bends_compared),
        "bend within .25": _share(tally.bends_within_quarter, tally.bends_compared),
        "place": _share(tally.place_right, tally.found),
        "corrections/100": _share(100 * tally.corrections, tally.true_notes),
        "honesty AUC": ranking_auc(right, wrong),
        "sure and right": _share(sure_right, sure_right + sure_wrong),
        "share called sure": _share(sure_right + sure_wrong, len(right) + len(wrong)),
    }


def technique_figures(tally: Tally) -> dict[str, dict[str, float | None]]:
    """Precision, recall, F and counts of each technique kind."""
    table = {}
    for kind in KINDS:
        hits, false, missed = tally.hits[kind], tally.false[kind], tally.missed[kind]
        table[kind] = {
            "true": hits + missed,
            "drafted": hits + false,
            "precision": _share(hits, hits + false),
            "recall": _share(hits, hits + missed),
            "F": _f_measure(hits, hits + false, hits + missed),
        }
    return table


def ranking_auc(right: np.ndarray, wrong: np.ndarray) -> float | None:
    """How often a wrong note has the lower confidence of a (right, wrong) pair; ties count half."""
    if not len(right) or not len(wrong):
        return None
    above = right[:, None] > wrong[None, :] + _ROUNDING
    level = np.abs(right[:, None] - wrong[None, :]) <= _ROUNDING
    return float(np.mean(above + 0.5 * level))


def _judge_pair(true: Note, draft: Note, shift: int, beats: int, tally: Tally) -> Pair:
    wrong = []
    start_right = _start_right(true, draft, shift, beats)
    rhythm_right = start_right and Fraction(draft["length"]) == Fraction(true["length"])
    place_right = (true["string"], true["fret"]) == (draft["string"], draft["fret"])
    technique_right = _judge_techniques(true, draft, tally)
    if not start_right:
        wrong.append("start")
    elif not rhythm_right:
        wrong.append("length")
    if not place_right:
        wrong.append("place")
    if not technique_right:
        wrong.append("technique")
    tally.start_right += start_right
    tally.rhythm_right += rhythm_right
    tally.place_right += place_right
    tally.technique_right += technique_right
    if not _judge_bend_amounts(true, draft, tally):
        wrong.append("bend amount")
    return Pair(true, draft, tuple(wrong))


def _judge_techniques(true: Note, draft: Note, tally: Tally) -> bool:
    required, drafted = _kinds(true, optional=False), _kinds(draft)
    allowed = _kinds(true)
    hits = allowed & drafted
    false, missed = drafted - allowed, required - drafted
    tally.hits.update(hits)
    tally.false.update(false)
    tally.missed.update(missed)
    return not false and not missed


def _judge_bend_amounts(true: Note, draft: Note, tally: Tally) -> bool:
    right = True
    for kind in ("bend", "pre_bend"):
        for asked, got in zip(_amounts(true, kind), _amounts(draft, kind), strict=False):
            error = abs(asked - got)
            tally.bends_compared += 1
            tally.bends_within_half += error <= 0.5 + _ROUNDING
            tally.bends_within_quarter += error <= 0.25 + _ROUNDING
            right = right and error <= 0.5 + _ROUNDING
    return right


def _judge_tempo(truth: Document, draft: Document, tally: Tally) -> None:
    ratio = float(draft["timing"]["tempo_bpm"] or 0.0) / float(truth["timing"]["tempo_bpm"])
    tally.tempo_right = int(abs(ratio - 1) <= TEMPO_TOLERANCE + _ROUNDING)
    octaves = (abs(ratio / factor - 1) <= TEMPO_TOLERANCE + _ROUNDING for factor in (0.5, 1.0, 2.0))
    tally.tempo_right_or_octave = int(any(octaves))


def _match(true: list[Note], draft: list[Note], offset_ratio: float | None) -> list[tuple[int, int]]:
    if not true or not draft:
        return []
    return mir_eval.transcription.match_notes(
        _intervals(true),
        _frequencies(true),
        _intervals(draft),
        _frequencies(draft),
        onset_tolerance=ONSET_TOLERANCE_S,
        pitch_tolerance=PITCH_TOLERANCE_CENTS,
        offset_ratio=offset_ratio,
    )


def _intervals(notes: list[Note]) -> np.ndarray:
    return np.array([(n["onset_s"], max(n["end_s"], n["onset_s"] + 0.001)) for n in notes], float)


def _frequencies(notes: list[Note]) -> np.ndarray:
    return np.array([440.0 * 2.0 ** ((n["pitch_midi"] - 69) / 12.0) for n in notes])


def _pitched(document: Document) -> list[Note]:
    return sorted(
        (note for note in document["notes"] if note["pitch_midi"] is not None), key=lambda n: n["onset_s"]
    )


def _beats_a_bar(document: Document) -> int:
    return int(str(document["timing"]["meter"]).partition("/")[0])


def _position(note: Note, beats: int) -> Fraction:
    """Beats from beat 1 of bar 1."""
    return (int(note["bar"]) - 1) * beats + Fraction(note["beat"]) - 1


def _start_right(true: Note, draft: Note, shift: int, beats: int) -> bool:
    """Bar and beat as printed, in the true meter: beat 4 in a waltz is wrong, not the next bar's first."""
    position = _position(true, beats) + shift
    return int(draft["bar"]) == position // beats + 1 and Fraction(draft["beat"]) == position % beats + 1


def _best_shift(pairs: list[tuple[Note, Note]], beats: int) -> int:
    shifts: Counter[int] = Counter()
    for true, draft in pairs:
        shift = _position(draft, beats) - _position(true, beats)
        if shift.denominator == 1:
            shifts[int(shift)] += _start_right(true, draft, int(shift), beats)
    if not shifts:
        return 0
    return min(shifts, key=lambda shift: (-shifts[shift], abs(shift), shift))


def _kinds(note: Note, optional: bool = True) -> Counter[str]:
    return Counter(
        KIND_OF[technique["kind"]]
        for technique in note.get("techniques", ())
        if technique["kind"] in KIND_OF and (optional or not technique.get("optional"))
    )


def _amounts(note: Note, kind: str) -> list[float]:
    return [
        float(technique["semitones"])
        for technique in note.get("techniques", ())
        if technique["kind"] == kind and technique.get("semitones") is not None
    ]


def _confidence(note: Note, with_place: bool) -> float:
    """Overall confidence; without the place's share in it where place is not judged."""
    sure = note.get("confidence") or {}
    if with_place or not sure.get("place"):
        return float(sure.get("overall", 0.5))
    return float(np.prod([sure[aspect] for aspect in _ASPECTS_HEARD]))


def _share(part: float, whole: float) -> float | None:
    return part / whole if whole else None


def _f_measure(hits: int, drafted: int, true: int) -> float | None:
    return 2 * hits / (drafted + true) if drafted + true else None


def _plain(value: Any) -> Any:
    if isinstance(value, Counter):
        return dict(sorted(value.items()))
    if isinstance(value, list):
        return [round(float(v), 3) for v in value]
    return int(value)
