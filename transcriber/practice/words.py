"""The answer to a student in words and as a document."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from transcriber.draft import Draft
from transcriber.practice.advice import CAUTION, hardly_fits, named_note
from transcriber.practice.facts import bar_words
from transcriber.practice.passages import Passage, left_out_ids, passages_left_out
from transcriber.practice.phrase_reports import REMARK_WORDS
from transcriber.practice.report import CheckReport, NoteReport, PlayedPitch
from transcriber.practice.tolerance import SOURCE, TOLERANCES
from transcriber.records.pitch import pitch_name

FORMAT_VERSION = 1
SUFFIX = ".check.json"


def summary_of(report: CheckReport) -> dict[str, Any]:
    """Counts of an attempt: what is compared from one attempt to the next."""
    timings = sorted(abs(note.timing_ms) for note in report.notes if note.timing_ms is not None)
    return {
        "notes": len(report.notes),
        "played": sum(note.verdict == "played" for note in report.notes),
        "missed": sum(note.verdict == "missed" for note in report.notes),
        "left_out": len(left_out_ids(report.notes)),
        "wrong_pitch": sum(note.verdict == "wrong_pitch" for note in report.notes),
        "extra": len(report.extra),
        "without_remark": report.without_remark,
        "remarks": {
            remark: count
            for remark in REMARK_WORDS
            if (count := sum(remark in note.remarks for note in report.notes))
        },
        "median_timing_ms": round(timings[len(timings) // 2], 1) if timings else None,
        "stops": len(report.stops),
        "restarts": report.restarts,
    }


def check_document(
    report: CheckReport,
    attempt: tuple[str, str],
    reference: tuple[str, str],
    earlier: list[dict[str, Any]],
    pitches: Sequence[PlayedPitch] = (),
) -> dict[str, Any]:
    """Write an answer as a document.

    Parameters
    ----------
    report : CheckReport
    attempt, reference : (str, str)
        File name and digest of the attempt, and of the recording that the draft was made from.
    earlier : list of dict
        `progress_entry` of earlier attempts at the same line.
    pitches : sequence of PlayedPitch
        What was heard, so that the page can draw the attempt without listening again.
    """
    ear = TOLERANCES[report.tolerance]
    return {
        "format_version": FORMAT_VERSION,
        "attempt": {"file": attempt[0], "sha256": attempt[1]},
        "reference": {"file": reference[0], "sha256": reference[1]},
        "tolerance": {**asdict(ear), "source": SOURCE},
        "summary": summary_of(report),
        "tempo_bpm": report.tempo_bpm,
        "tempo_ratio": report.tempo_ratio,
        "transposed_semitones": report.transposed,
        "tuning_cents": report.tuning_cents,
        "notes": [asdict(note) for note in report.notes],
        "extra": [asdict(note) for note in report.extra],
        "stops": [asdict(stop) for stop in report.stops],
        "phrases": [asdict(phrase) for phrase in report.phrases],
        "work_on": [asdict(advice) for advice in report.advice],
        "earlier": earlier,
        "pitches": [asdict(pitch) for pitch in pitches],
    }


def check_bytes(document: dict[str, Any]) -> bytes:
    """Encode a document, one note to a row."""
    rows = []
    for key, value in document.items():
        if isinstance(value, list) and value:
            inner = ",\n".join("    " + json.dumps(each, ensure_ascii=False) for each in value)
            rows.append(f'  "{key}": [\n{inner}\n  ]')
        else:
            rows.append(f'  "{key}": {json.dumps(value, ensure_ascii=False)}')
    return ("{\n" + ",\n".join(rows) + "\n}\n").encode("utf-8")


def progress_entry(name: str, document: dict[str, Any]) -> dict[str, Any]:
    """What is kept of an earlier attempt."""
    summary = document["summary"]
    return {
        "file": name,
        "ear": document["tolerance"]["name"],
        "tempo_ratio": document["tempo_ratio"],
        "notes": summary["notes"],
        "without_remark": summary["without_remark"],
        "missed": summary["missed"],
        "wrong_pitch": summary["wrong_pitch"],
        # Answers of before this was counted have none.
        "left_out": summary.get("left_out", 0),
    }


def check_text(draft: Draft, report: CheckReport, earlier: list[dict[str, Any]]) -> str:
    """Tell an answer in plain lines."""
    lines = [*_head(report), ""]
    lines += [
        f"{_phrase_name(phrase.name, phrase.id)}{_phrase_tempo(phrase)}: {phrase.verdict}"
        for phrase in report.phrases
    ]
    told = [*words_of_notes(draft, report).values()]
    told += [_extra_line(draft, extra.after, extra.pitch_midi, extra.onset_s) for extra in report.extra]
    if told:
        lines += ["", "Note by note:", *(f"  {line}" for line in told)]
    if report.advice:
        lines += ["", "Work on this first:"]
        for number, advice in enumerate(report.advice, start=1):
            bar = bar_words(advice.bar)
            lines.append(f"  {number}. {bar[0].upper()}{bar[1:]}: {advice.happened}. Try: {advice.try_this}.")
        lines += ["", CAUTION]
    if earlier:
        lines += ["", "Earlier attempts here, in order of name:"]
        lines += [f"  {_progress_line(each)}" for each in earlier]
        lines.append(f"  now: {_progress_line({**progress_of(report), 'file': ''})}")
    return "\n".join(lines)


def progress_of(report: CheckReport) -> dict[str, Any]:
    """An answer as `progress_entry` would keep it."""
    document = {
        "summary": summary_of(report),
        "tempo_ratio": report.tempo_ratio,
        "tolerance": {"name": report.tolerance},
    }
    return progress_entry("", document)


def _progress_line(entry: dict[str, Any]) -> str:
    name = f"{entry['file']}: " if entry["file"] else ""
    tempo = "" if entry["tempo_ratio"] is None else f" at {entry['tempo_ratio']:.0%} of the tempo"
    left_out = entry.get("left_out", 0)
    apart = f" ({left_out} left out)" if left_out else ""
    right = f"{entry['without_remark']} of {entry['notes']} notes as written"
    return f"{name}{right}{apart}{tempo}, {entry['ear']} ear"


def _head(report: CheckReport) -> list[str]:
    counts = summary_of(report)
    tempo = ""
    if report.tempo_ratio is not None:
        tempo = f", at {report.tempo_ratio:.0%} of the tempo ({report.tempo_bpm:g} beats a minute)"
    left_out = f"{counts['left_out']} left out, " if counts["left_out"] else ""
    lines = [
        f"{counts['without_remark']} of {counts['notes']} notes as written{tempo}; "
        f"{counts['missed'] - counts['left_out']} missed, {left_out}"
        f"{counts['wrong_pitch']} of another pitch, {counts['extra']} extra."
    ]
    if hardly_fits(report):
        lines.append(
            "So little of it fits that this may be an attempt at another line, or one that could not be "
            "heard well; do not rely on what follows."
        )
    median_ms = counts["median_timing_ms"]
    if median_ms is not None:
        lines.append(f"Half of the notes lie within {median_ms:.0f} ms of where the beat puts them.")
    ear = TOLERANCES[report.tolerance]
    lines.append(
        f"Judged with the {ear.name} ear: a note may be {ear.timing_ms:.0f} ms or "
        f"{ear.timing_beat_share:.0%} of the beat early or late, whichever is more, and "
        f"{ear.cents:.0f} cents out of tune."
    )
    if report.transposed:
        lines.append(f"Played {_interval(report.transposed)} than the take; judged there.")
    if abs(report.tuning_cents) >= 10:
        way = "above" if report.tuning_cents > 0 else "below"
        lines.append(
            f"The guitar is tuned {abs(report.tuning_cents):.0f} cents {way} A = 440 Hz; "
            "judged by its own tuning."
        )
    if report.stops or report.restarts:
        lines.append(_passes_line(len(report.stops), report.restarts))
    return lines


def _passes_line(stops: int, restarts: int) -> str:
    """Tell of stops, and of passages begun again."""
    told = [f"stopped {_times(stops)}"] if stops else []
    told += [f"began a passage again {_times(restarts)}; what was played last counts"] if restarts else []
    words = ", ".join(told)
    return f"{words[0].upper()}{words[1:]}."


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _interval(semitones: int) -> str:
    size = abs(semitones)
    words = (
        f"{size // 12} octave{'s' if size > 12 else ''}"
        if size % 12 == 0
        else f"{size} semitone" + "s" * (size > 1)
    )
    return f"{words} {'higher' if semitones > 0 else 'lower'}"


def _phrase_name(name: str, phrase_id: str) -> str:
    return name or f"Phrase {phrase_id}"


def _phrase_tempo(phrase: Any) -> str:
    return "" if phrase.tempo_bpm is None else f" ({phrase.tempo_bpm:g} beats a minute)"


def _note_line(draft: Draft, note: NoteReport) -> str:
    reference = draft.note(note.id)
    head = f"{bar_words(note.bar)}, {named_note(reference)}"
    if note.verdict == "missed":
        return f"{head}: missed"
    parts = []
    if note.verdict == "wrong_pitch" and note.played_midi is not None:
        parts.append(f"{pitch_name(note.played_midi)} was played")
    for remark in note.remarks:
        parts.append(_remark(note, remark))
    return f"{head}: {', '.join(parts)}" if parts else ""


def _passage_line(draft: Draft, passage: Passage) -> str:
    first, last = (
        f"{bar_words(note.bar)}, {named_note(draft.note(note.id))}" for note in (passage[0], passage[-1])
    )
    return f"{first}, to {last}: left out ({len(passage)} notes)"


def _remark(note: NoteReport, remark: str) -> str:
    words = REMARK_WORDS[remark]
    if remark in ("early", "late") and note.timing_ms is not None and note.timing_beats is not None:
        return f"{abs(note.timing_ms):.0f} ms {words} ({abs(note.timing_beats):.2f} beats)"
    if remark == "off_pitch" and note.pitch_cents is not None:
        return f"{words} ({note.pitch_cents:+.0f} cents)"
    if remark.startswith("bend"):
        bend = next((each for each in note.techniques if each.cents is not None), None)
        if bend is not None and bend.cents is not None:
            way = "under" if bend.cents < 0 else "over"
            took = "" if bend.took_s is None else f"; {bend.took_s:.2f} s to its top"
            return f"{words} ({abs(bend.cents):.0f} cents {way} the target{took})"
    if remark == "short" and note.length_ratio is not None:
        return f"{words} ({note.length_ratio:.0%} of its length)"
    return words


def _extra_line(draft: Draft, after: str | None, pitch: int, onset_s: float) -> str:
    before = draft.note(after) if after else None
    where = "before the first note"
    if before is not None:
        where = f"{bar_words(before.bar)}, after {named_note(before)}"
    return f"{where}: {pitch_name(pitch)} too many (at {onset_s:.2f} s of the attempt)"


def head_lines(report: CheckReport) -> list[str]:
    """Tell an attempt as a whole: how many notes, how fast, how tuned."""
    return _head(report)


def words_of_notes(draft: Draft, report: CheckReport) -> dict[str, str]:
    """Tell what is to be said of each note, by id.

    Nothing is said of notes that were played as written, and a passage that was left out is told at its first
    note.
    """
    passages = {passage[0].id: passage for passage in passages_left_out(report.notes)}
    silent = {note.id for passage in passages.values() for note in passage[1:]}
    told = {}
    for note in report.notes:
        if note.id in silent or draft.note(note.id) is None:
            continue
        passage = passages.get(note.id)
        line = _note_line(draft, note) if passage is None else _passage_line(draft, passage)
        if line:
            told[note.id] = line
    return told


def words_of_extras(draft: Draft, report: CheckReport) -> list[str]:
    """Tell each note that the line does not have."""
    return [_extra_line(draft, extra.after, extra.pitch_midi, extra.onset_s) for extra in report.extra]


def short_words(note: NoteReport) -> str:
    """Say what became of a note in a word or two, to stand beside it; empty for one played as written."""
    if note.verdict == "missed":
        return "missed"
    if note.verdict == "wrong_pitch":
        return "another pitch" if note.played_midi is None else f"{pitch_name(note.played_midi)} played"
    return REMARK_WORDS[note.remarks[0]] if note.remarks else ""
