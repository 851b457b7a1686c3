"""Phrases and their other fingerings."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import pytest

from tests.fretboard.fingered import GUITAR
from tests.fretboard.handwritten_fingerings import handwritten
from tests.fretboard.test_playability import LICK, heard
from transcriber.fretboard import place_notes, place_phrases
from transcriber.fretboard.fretting_model import read_fretting_model
from transcriber.fretboard.hands import NoteKey
from transcriber.fretboard.lattice import Lattice
from transcriber.fretboard.phrases import phrase_bounds
from transcriber.fretboard.placement import plan_steps

MODEL = read_fretting_model()
LINES = handwritten("fit") + handwritten("report")


def test_phrases_part_at_silences() -> None:
    notes = heard([(0.2, 60), (0.2, 62), (1.0, 64), (0.2, 65)])
    assert phrase_bounds(notes, 0.05) == [(0, 3), (3, 4)]
    assert phrase_bounds(notes, 0.5) == [(0, 4)]
    ringing = [replace(notes[0], end_s=1.4), *notes[1:]]
    assert phrase_bounds(ringing, 0.05) == [(0, 4)]
    assert phrase_bounds([], 0.05) == []


def test_phrases_found_otherwise_are_taken_as_they_are() -> None:
    notes = heard([*LICK, (1.5, 64), *LICK])
    placed, phrases = place_phrases(notes, GUITAR, spans=[(0, 4), (4, 9), (9, 13)])
    assert placed == place_notes(notes, GUITAR)
    assert [(phrase.first, phrase.stop) for phrase in phrases] == [(0, 4), (4, 9), (9, 13)]
    assert all(len(other.places) == p.stop - p.first for p in phrases for other in p.others)


@pytest.mark.parametrize("spans", [[], [(0, 3)], [(1, 13)], [(0, 5), (6, 13)], [(0, 13), (13, 13)]])
def test_phrases_that_leave_notes_out_are_refused(spans: list) -> None:
    with pytest.raises(ValueError, match="do not cover 13 notes"):
        place_phrases(heard([*LICK, (1.5, 64), *LICK]), GUITAR, spans=spans)


@pytest.mark.parametrize("own", LINES, ids=lambda own: own.name)
def test_others_play_the_same_notes_and_cost_more(own) -> None:
    notes = own.heard()
    placed, phrases = place_phrases(notes, GUITAR)
    assert placed == place_notes(notes, GUITAR)
    assert [phrase.first for phrase in phrases] == [0, *(phrase.stop for phrase in phrases[:-1])]
    assert phrases[-1].stop == len(notes)
    for phrase in phrases:
        within = notes[phrase.first : phrase.stop]
        chosen = [(p.string, p.fret) for p in placed.places[phrase.first : phrase.stop] if p]
        told = [chosen, *(list(other.places) for other in phrase.others)]
        costs = [other.extra_cost for other in phrase.others]
        assert costs == sorted(costs)
        assert all(0 <= cost <= MODEL.alternative_cost_per_note * len(within) for cost in costs)
        assert len(costs) <= MODEL.alternatives_kept
        for note, places in zip(within, zip(*told, strict=True), strict=True):
            if not note.has("natural_harmonic"):
                assert {GUITAR.open_midi(s) + f for s, f in places} == {note.pitch_midi}
        for number, places in enumerate(told):
            for other in told[:number]:
                assert sum(a != b for a, b in zip(places, other, strict=True)) >= len(places) / 2


def test_extra_cost_is_what_pinning_the_line_there_costs() -> None:
    """An independent way to the same fingering: pin every note, and compare the whole line's cost."""
    notes = heard(LICK)
    lattice = Lattice(GUITAR, MODEL)

    def cost(places) -> float:
        keys = [NoteKey(n.pitch_midi, pinned=p) for n, p in zip(notes, places, strict=True)]
        steps = plan_steps(notes, keys, None, MODEL)
        path = lattice.cheapest_path(steps)
        demands = sum(float(lattice.demand_cost(step)[at]) for step, at in zip(steps, path, strict=True))
        moves = zip(pairwise(steps), pairwise(path), strict=True)
        return demands + sum(float(lattice.move_cost(*pair)[states]) for pair, states in moves)

    placed, (phrase,) = place_phrases(notes, GUITAR)
    best = cost([(p.string, p.fret) for p in placed.places if p])
    assert phrase.others
    for other in phrase.others:
        assert other.extra_cost == pytest.approx(cost(other.places) - best, abs=0.02)


def test_words_say_what_sets_it_apart() -> None:
    """E5 and B4 in turn: along string 1, or at fret 12 of strings 2 and 1 (computed from the tuning)."""
    placed, (phrase,) = place_phrases(heard([(0.3, 76), (0.3, 71), (0.3, 76), (0.3, 71)]), GUITAR, 7)
    assert [(p.string, p.fret) for p in placed.places if p] == [(1, 12), (1, 7)] * 2
    assert phrase.others[0].places == ((1, 12), (2, 12)) * 2
    assert phrase.others[0].words.startswith("the same line at fret 12 on strings 2 and 1, ")


@pytest.mark.parametrize("own", LINES[:6], ids=lambda own: own.name)
def test_words_call_easy_only_what_is_a_toss_up(own) -> None:
    _, phrases = place_phrases(own.heard(), GUITAR)
    for other in (each for phrase in phrases for each in phrase.others):
        assert ("as easy to play" in other.words) == other.toss_up == (other.extra_cost <= MODEL.toss_up_cost)


def test_a_note_off_the_neck_leaves_a_gap() -> None:
    notes = heard([(0.2, 20), *LICK])
    _, (phrase,) = place_phrases(notes, GUITAR)
    assert phrase.others
    assert all(other.places[0] is None and None not in other.places[1:] for other in phrase.others)
    _, (alone,) = place_phrases(heard([(0.2, 20)]), GUITAR)
    assert alone.others == ()


def test_the_fingering_around_a_phrase_is_respected() -> None:
    """A phrase between two at fret 5 moves its alternatives' cost, and their shifts count both ways."""
    outer = [(0.2, 69), (0.2, 72), (0.2, 69)]
    notes = heard([*outer, (0.2, 64), (0.2, 67), *outer])
    gap = 0.6
    later = [gap * ((index > 2) + (index > 4)) for index in range(len(notes))]
    parted = [
        replace(note, onset_s=note.onset_s + by, end_s=note.end_s + by)
        for note, by in zip(notes, later, strict=True)
    ]
    _, phrases = place_phrases(parted, GUITAR, 5)
    assert [(phrase.first, phrase.stop) for phrase in phrases] == [(0, 3), (3, 5), (5, 8)]
    far = [other for other in phrases[1].others if other.position >= 9]
    assert all(other.shifts >= 2 for other in far)
