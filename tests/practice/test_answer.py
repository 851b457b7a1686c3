"""The answer to an attempt with known mistakes: every field, the words, and the caution beside advice."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from tests.practice.attempts import Spec
from tests.practice.measure_check import prepared
from transcriber.practice import TOLERANCES, check_attempt
from transcriber.practice.advice import CAUTION, LONGEST_LIST, TRY, WEIGHTS
from transcriber.practice.phrase_reports import REMARK_WORDS
from transcriber.practice.words import check_bytes, check_document, check_text

# Half the tempo, a passage begun again; early, short, off and missing bends, no vibrato, a string that rings.
SPEC = Spec("fit", "green", 3, 1)


@pytest.fixture(scope="module")
def told():
    planted, attempt = prepared(SPEC, cached=False)
    report = check_attempt(planted.draft, attempt, TOLERANCES["intermediate"])
    return planted, report


def document_of(planted, report):
    data = check_bytes(check_document(report, ("a.wav", "1"), ("line.wav", "2"), []))
    return json.loads(data)


def test_every_note_has_its_verdict_time_and_measures(told):
    planted, report = told
    document = document_of(planted, report)
    assert [note["id"] for note in document["notes"]] == [note.id for note in planted.draft.notes]
    for note in document["notes"]:
        assert note["verdict"] in ("played", "missed", "wrong_pitch")
        if note["verdict"] == "played":
            assert note["attempt_onset_s"] == pytest.approx(planted.onsets[note["id"]][0], abs=0.06)
            beat_s = 60 / document["tempo_bpm"]
            assert note["timing_beats"] == pytest.approx(note["timing_ms"] / 1000 / beat_s, abs=0.02)
            assert note["length_ratio"] is None or 0 < note["length_ratio"] <= 2.0


def test_techniques_are_told_with_their_measures(told):
    planted, report = told
    seen = set()
    for note in report.notes:
        for technique in note.techniques:
            if technique.kind in ("bend", "pre_bend") and technique.verdict in ("played", "differs"):
                assert technique.cents == pytest.approx(planted.bends[note.id], abs=20)
                seen.add("bend")
                if technique.kind == "bend" and technique.verdict == "played":
                    assert 0.02 < technique.took_s < 0.6
                    seen.add("took")
            if technique.kind == "vibrato" and technique.verdict == "played":
                asked = planted.draft.note(note.id).technique("vibrato")
                assert technique.rate_hz == pytest.approx(asked.rate_hz, rel=0.15)
                assert technique.depth_semitones == pytest.approx(asked.depth_semitones, rel=0.5)
                seen.add("vibrato")
    assert seen == {"bend", "took", "vibrato"}


def test_planted_mistakes_are_told(told):
    planted, report = told
    said = {(remark, note.id) for note in report.notes for remark in note.remarks}
    asked = {(kind, each) for kind, ids in planted.mistakes.items() for each in ids if kind != "extra"}
    assert len(asked) >= 5
    assert len(asked - said) <= 1


def test_phrases_and_the_whole_have_a_tempo_and_a_verdict(told):
    planted, report = told
    document = document_of(planted, report)
    assert document["tempo_ratio"] == pytest.approx(planted.ratio, abs=0.02)
    assert len(document["phrases"]) == len(planted.draft.phrases)
    for phrase in document["phrases"]:
        assert phrase["verdict"]
        assert phrase["tempo_ratio"] is None or phrase["tempo_ratio"] == pytest.approx(planted.ratio, abs=0.1)
    assert sum(phrase["notes"] for phrase in document["phrases"]) == len(planted.draft.notes)
    assert document["summary"]["restarts"] == planted.restarts


def test_three_things_to_work_on_with_bar_and_what_to_try_and_the_caution(told):
    planted, report = told
    assert len(report.advice) == LONGEST_LIST
    text = check_text(planted.draft, report, [])
    for advice in report.advice:
        assert f"Bar {advice.bar}: {advice.happened}. Try: {advice.try_this}." in text
    assert CAUTION in text
    for word in ("volume", "rest", "hurts"):
        assert word in CAUTION


def test_an_answer_without_advice_needs_no_caution(told):
    planted, report = told
    notes = tuple(replace(note, verdict="played", remarks=()) for note in report.notes)
    text = check_text(planted.draft, replace(report, notes=notes, advice=(), extra=()), [])
    assert CAUTION not in text
    assert "Try:" not in text


def test_every_remark_has_words_a_weight_and_something_to_try():
    assert set(REMARK_WORDS) | {"missed", "wrong_pitch", "extra"} == set(WEIGHTS) == set(TRY)
