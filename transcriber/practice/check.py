"""An attempt held against a draft: what became of every note."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from transcriber.draft.document import Draft
from transcriber.practice.advice import advise
from transcriber.practice.align import Alignment, align
from transcriber.practice.doubts import doubts_of, joined
from transcriber.practice.evidence import Attempt
from transcriber.practice.extras import extra_notes
from transcriber.practice.found import Found, PassPace
from transcriber.practice.judge import Judge
from transcriber.practice.pace import beats_a_minute, pace_of
from transcriber.practice.passes import Pass, counting_pass, passes_of, superseded
from transcriber.practice.phrase_reports import phrase_reports
from transcriber.practice.report import CheckReport, Stop
from transcriber.practice.second_look import found_after_all, two_in_one
from transcriber.practice.tolerance import Tolerance
from transcriber.practice.wanted import Wanted, wanted_notes
from transcriber.records.pitch import A4_HZ

# Neighbours so many notes apart may have a passage between them that was left out with its time.
_LEAST_SKIPPED = 2


def check_attempt(draft: Draft, attempt: Attempt, ear: Tolerance) -> CheckReport:
    """Hold an attempt against a draft.

    Parameters
    ----------
    draft : Draft
        The reference, corrections applied.
    attempt : Attempt
    ear : Tolerance

    Returns
    -------
    CheckReport
    """
    wanted = wanted_notes(draft)
    played = attempt.heard.notes
    reference_beat_s = 60.0 / (draft.timing.tempo_bpm * draft.meter.tap)
    doubts = doubts_of(attempt)
    alignment = align(played, wanted, reference_beat_s, doubts)
    matched = {pair[0] for pair in alignment.pairs}
    attempt = replace(attempt, heard=replace(attempt.heard, notes=joined(played, doubts, matched)))
    passes = passes_of(alignment.pairs)
    counts = counting_pass(passes, len(wanted))
    found = _found(attempt, wanted, passes, counts, alignment)
    paces = _paces(wanted, found, len(passes), alignment.beat_s)
    doubtful = {i for i in range(len(played)) if doubts.faint[i] or doubts.split[i]}
    onsets = tuple(note.onset_s for i, note in enumerate(played) if i not in doubtful)
    judge = Judge(attempt, draft, wanted, alignment.shift, ear, found, paces, onsets)
    notes = tuple(judge.note(number) for number in range(len(wanted)))
    gone = superseded(passes, counts, len(played))
    left = [i for i in range(len(played)) if i not in gone | matched | doubtful]
    extra = extra_notes(attempt, wanted, found, left, alignment.shift)
    beat_s = _overall_beat(paces, alignment.beat_s)
    ratio = reference_beat_s / beat_s if found else None
    report = CheckReport(
        tolerance=ear.name,
        tempo_bpm=round(beats_a_minute(beat_s, draft.meter.tap), 1) if found else None,
        tempo_ratio=None if ratio is None else round(ratio, 3),
        transposed=alignment.shift,
        tuning_cents=round(1200.0 * float(np.log2(attempt.heard.reference_hz / A4_HZ)), 1),
        notes=notes,
        extra=extra,
        stops=_stops(wanted, paces),
        restarts=max(len(passes) - 1, 0),
        phrases=phrase_reports(draft, wanted, notes, passes, paces, reference_beat_s),
    )
    return replace(report, advice=advise(draft, report))


def _found(
    attempt: Attempt,
    wanted: Sequence[Wanted],
    passes: Sequence[Pass],
    counts: Sequence[int],
    alignment: Alignment,
) -> dict[int, Found]:
    """Wanted notes that were played, in the pass that counts; what listening left out is looked for again."""
    played = attempt.heard.notes
    found = {
        j: Found(i, played[i].onset_s, number)
        for number, each in enumerate(passes)
        for i, j in each.pairs
        if counts[j] == number
    }
    for number in _left_out_alone(found, len(wanted)):
        passage = _pass_of(number, counts, found)
        if passage is None or wanted[number].pitch is None:
            continue
        # Its neighbours in the same pass, though some of them count as they were played later.
        around = {j: Found(i, played[i].onset_s, passage) for i, j in passes[passage].pairs}
        around |= {j: one for j, one in found.items() if one.passage == passage}
        time_s = found_after_all(attempt, wanted, number, around, alignment.shift, alignment.beat_s)
        if time_s is not None:
            found[number] = Found(None, time_s, passage)
            continue
        both = two_in_one(attempt, wanted, number, found, (alignment.shift, alignment.beat_s))
        if both is not None:
            found[number] = Found(None, both[0], passage)
            found[number + 1] = Found(None, both[1], found[number + 1].passage)
    return found


def _pass_of(number: int, counts: Sequence[int], found: Mapping[int, Found]) -> int | None:
    """The pass that a note belongs to, also just before its first and after its last note."""
    if counts[number] >= 0:
        return counts[number]
    near = [found[other] for other in (number - 1, number + 1, number - 2, number + 2) if other in found]
    return near[0].passage if near else None


def _left_out_alone(found: Mapping[int, Found], count: int) -> list[int]:
    """Wanted notes that were not found though their neighbours were: no passage that was skipped."""
    runs: list[list[int]] = []
    for number in range(count):
        if number in found:
            continue
        if runs and runs[-1][-1] == number - 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return [number for run in runs if len(run) <= _LEAST_SKIPPED for number in run]


def _paces(
    wanted: Sequence[Wanted], found: dict[int, Found], passes: int, beat_s: float
) -> dict[int, PassPace]:
    paces = {}
    for passage in range(passes):
        numbers = tuple(
            n for n in sorted(found) if found[n].passage == passage and not wanted[n].note.is_grace
        )
        if numbers:
            beats = np.array([wanted[n].at for n in numbers])
            onsets = np.array([found[n].onset_s for n in numbers])
            skips = [
                place
                for place in range(1, len(numbers))
                if numbers[place] - numbers[place - 1] > _LEAST_SKIPPED
            ]
            paces[passage] = PassPace(numbers, pace_of(beats, onsets, beat_s, skips))
    return paces


def _overall_beat(paces: dict[int, PassPace], fallback: float) -> float:
    beats = [each.pace.beat_s for each in paces.values()]
    return float(np.median(np.concatenate(beats))) if beats else fallback


def _stops(wanted: Sequence[Wanted], paces: dict[int, PassPace]) -> tuple[Stop, ...]:
    return tuple(
        Stop(wanted[each.numbers[place]].note.id, pause)
        for each in paces.values()
        for place, pause in each.pace.stops
    )
