"""The fretting model: fitted weights and fixed settings of `models/fretting.json`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from transcriber.errors import ModelError
from transcriber.models import load_model


@dataclass(frozen=True)
class FrettingModel:
    """Weights and settings of the fretting costs.

    Attributes
    ----------
    weights : mapping of str to float
        Cost of one unit of each feature, 0 or more.
    temperature : float
        Energies are costs divided by this when posteriors are taken.
    hard_cost : float
        Cost of what hands cannot do; high, not infinite, so that a misheard slur leaves a path.
    haste_time_s : float
        Time in which haste falls to 1/e.
    share_of_note_free : float
        Share of a note's time that a player may give up to move.
    longest_lift_s : float
        At most this much of a note counts for that share.
    slur_gap_s : float
        A slur or slide after a longer silence is not bound to the string of the note before.
    overlap_s : float
        A note that lasts longer than this beyond the next onset rings on.
    scale_reach_notes : int
        Notes before and after that tell which scale a note stands in.
    given_hold_per_note, given_hold_floor : float
        The given position holds by this factor less with every note, until it is below the floor.
    given_rest_s : float
        Silence in which the bent for staying at the given position falls to 1/e.
    sound_weight, sound_weight_measured : float
        Cost of a log likelihood of -1 by the sound of the string, on a guitar that nobody measured and on one
        that was measured.
    fastest_shift_frets_per_s : float
        The hand shifts no faster from one note's onset to the next, but for a slide, which was heard.
    too_fast_cost : float
        Cost of a faster shift; above all that a hand would take on to avoid one.
    phrase_rest_beats : float
        A silence as long as this, in beats, parts two phrases.
    alternative_cost_per_note : float
        Other fingerings of a phrase cost at most this much more a note, at the mean.
    toss_up_cost : float
        One that costs at most this much more in all is as good a guess as the one chosen.
    alternatives_kept : int
        At most so many other fingerings of a phrase are told.
    sound_excess, sound_excess_width : float
        Where following the sound costs this much more a note than hands alone, the sound counts half; over
        this width (of a logistic curve) it loses its weight.
    misfit_computed, misfit_measured : float
        Mean squared distance of the notes of a take from their nearest place, in standard deviations,
        at which the sound counts half: of strings computed from their gauges, and of measured ones.
    misfit_width : float
        Share of that distance over which it loses its weight.
    misfit_most : float
        What one note adds at most.
    misfit_expected, misfit_prior_notes : float
        Squared distance taken for granted before anything is heard, and how many notes it counts as.
    """

    weights: Mapping[str, float]
    temperature: float
    hard_cost: float
    haste_time_s: float
    share_of_note_free: float
    longest_lift_s: float
    slur_gap_s: float
    overlap_s: float
    scale_reach_notes: int
    given_hold_per_note: float
    given_hold_floor: float
    given_rest_s: float
    sound_weight: float
    sound_weight_measured: float
    sound_excess: float
    sound_excess_width: float
    misfit_computed: float
    misfit_measured: float
    misfit_width: float
    misfit_most: float
    misfit_expected: float
    misfit_prior_notes: float
    fastest_shift_frets_per_s: float
    too_fast_cost: float
    phrase_rest_beats: float
    alternative_cost_per_note: float
    toss_up_cost: float
    alternatives_kept: int


def read_fretting_model() -> FrettingModel:
    """Read the fretting model.

    Raises
    ------
    ModelError
        If the file is missing, damaged or of another format version.
    """
    return fretting_model_from(load_model("fretting"))


def fretting_model_from(document: dict[str, Any]) -> FrettingModel:
    """Build the model from the document of its file."""
    try:
        return FrettingModel(
            weights=document["weights"], temperature=document["temperature"], **document["settings"]
        )
    except (KeyError, TypeError) as error:
        raise ModelError(f"model file 'fretting' is damaged ({error}); install the package again") from None
