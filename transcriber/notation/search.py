"""One joint decision about tempo, beat and the place of every note: a beam search over notes.

A hypothesis says where the current note stands (beat and slot), and carries a Kalman filter over the time of
that place and the period of the beat. For each next note every slot of the vocabulary is tried; the score
adds the Gaussian likelihood of the onset given the filter to the log probability of the onset patterns.
Hypotheses are kept apart by starting tempo and swing ("strata") so that a tempo that explains the beginning
badly is not lost before the whole take has spoken. Positions lead, times follow: nothing is rounded.

Decoding score position and tempo together follows Raphael, "A hybrid graphical model for rhythmic parsing"
(Artificial Intelligence 137, 2002), and Cemgil and Kappen, "Monte Carlo methods for tempo tracking and rhythm
quantization" (JAIR 18, 2003).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from transcriber.notation.hypotheses import Beam, Candidates, Opening, Reading, Step, Strata, posterior
from transcriber.notation.parameters import Search, Timing
from transcriber.notation.vocabulary import IMPOSSIBLE, FloatArray, IntArray, Vocabulary

_LOG_2PI = float(np.log(2.0 * np.pi))
_EMPTY = 0
# No more than this many empty beats are charged: a long rest says nothing about the rhythm.
_CHARGED_RESTS = 6
_TEMPO_BUCKETS = 64  # per factor e: hypotheses closer than 1/64 in tempo are merged
# How strongly an accent is expected on the beat, on its eighths, and elsewhere.
_ACCENT_STRENGTHS = (1.0, 0.0, -0.7)


class BeamSearch:
    """Search over one row of onsets.

    Parameters
    ----------
    vocabulary : Vocabulary
    timing : Timing
    search : Search
    strata : Strata
    beam : int
        Hypotheses kept per stratum.
    """

    def __init__(
        self, vocabulary: Vocabulary, timing: Timing, search: Search, strata: Strata, beam: int
    ) -> None:
        self.words = vocabulary
        self.timing = timing
        self.search = search
        self.strata = strata
        self.beam = beam
        self._last_s = 0.0
        self._slack = search.prune_start
        swung = ~np.isnan(strata.swing)
        self.feel = (
            swung.astype(np.int64) if len(vocabulary.roots) > 1 else np.zeros(len(swung), dtype=np.int64)
        )
        self.positions = np.array(
            [
                vocabulary.positions(float(ratio) if s else None)
                for ratio, s in zip(strata.swing, swung, strict=True)
            ]
        )
        self.first_logp = vocabulary.continue_logp[:, vocabulary.roots, :]  # (context, feel, slot)
        self.first_node = vocabulary.child[vocabulary.roots]  # (feel, slot)
        self.empty_logp = vocabulary.end_logp[:, vocabulary.roots]  # (context, feel)
        self.strength = np.select(
            [vocabulary.slot_tick == 0, vocabulary.eighth], _ACCENT_STRENGTHS[:2], _ACCENT_STRENGTHS[2]
        )

    def run(
        self, onsets_s: FloatArray, accents: FloatArray, doubt: FloatArray, opening: Opening | None = None
    ) -> Reading:
        """Decode onsets.

        Parameters
        ----------
        onsets_s : ndarray, shape (n,)
            Ascending, seconds; n at least 1.
        accents : ndarray, shape (n,)
            Velocity as a standard score, clipped to a few units.
        doubt : ndarray, shape (n,)
            Log odds, added to the score of leaving the onset out.
        opening : Opening, optional
            What is known of the first note's place.
        """
        opening = opening or Opening()
        self._last_s = float(onsets_s[-1])
        beam = self._start(float(onsets_s[0]), float(accents[0]), opening)
        count = len(beam.score)
        rows = np.arange(count)
        steps = [Step(beam.slot, beam.beat, np.zeros(count, dtype=bool), rows, rows, rows, np.zeros(count))]
        start_scores = beam.score
        for number, (onset, accent, doubted) in enumerate(
            zip(onsets_s[1:], accents[1:], doubt[1:], strict=True)
        ):
            settled = number >= self.search.settled_notes
            self._slack = self.search.prune_note if settled else self.search.prune_start
            beam, step = self._advance(beam, float(onset), float(accent), float(doubted))
            if number + 1 == opening.free_notes:
                beam = self._in_tempo(beam)
            steps.append(step)
        closing = self.words.end_logp[beam.context, beam.node] + self.words.last_bonus[beam.slot]
        return self._reading(beam, closing, steps, start_scores)

    def _start(self, onset: float, accent: float, opening: Opening) -> Beam:
        possible = self.first_node[self.feel] >= 0
        # A place in the beat that no pattern begins at says nothing here.
        told = possible & (self.words.slot_tick == opening.tick)
        if told.any():
            possible = told
        rows, slots = np.nonzero(possible)
        feel = self.feel[rows]
        score = self.strata.log_prior[rows] + self.first_logp[self.words.start_context, feel, slots]
        score = (
            score + self.words.first_bonus[slots] + self.timing.accent_weight * accent * self.strength[slots]
        )
        period = self.strata.period_s[rows]
        n = len(rows)
        beat = np.zeros(n, dtype=np.int64)
        if opening.beat_zero_s is not None:
            place = self.positions[rows, slots]
            ahead = (onset - opening.beat_zero_s) / period - place
            beat = np.rint(ahead).astype(np.int64)
            spread = opening.spread_s + opening.spread_per_tap * np.abs(ahead) * period
            score = score - 0.5 * ((ahead - beat) * period / spread) ** 2
        return Beam(
            score=score,
            stratum=rows,
            node=self.first_node[feel, slots],
            context=np.full(n, self.words.start_context, dtype=np.int64),
            slot=slots,
            beat=beat,
            time=np.full(n, onset),
            period=period,
            var_time=np.full(n, self.timing.onset_sd_s**2),
            covar=np.zeros(n),
            var_period=(period * (opening.free_sd if opening.free_notes else self.timing.start_tempo_sd))
            ** 2,
        )

    def _in_tempo(self, beam: Beam) -> Beam:
        """After notes played freely the beat goes at the starting tempo."""
        period = self.strata.period_s[beam.stratum]
        return replace(
            beam,
            period=period,
            var_time=np.full(len(period), self.timing.onset_sd_s**2),
            covar=np.zeros(len(period)),
            var_period=(period * self.timing.start_tempo_sd) ** 2,
        )

    def _advance(self, beam: Beam, onset: float, accent: float, doubt: float) -> tuple[Beam, Step]:
        candidates = self._candidates(beam, onset, accent, doubt)
        score = beam.score[candidates.parent] + candidates.gain
        kept, edges, child_of_edge = self._select(beam, candidates, score)
        after = self._filter(beam, candidates, kept, score[kept], onset)
        step = Step(
            slot=candidates.slot[kept],
            beat=candidates.beat[kept],
            extra=candidates.extra[kept],
            parent=candidates.parent[kept],
            edge_parent=candidates.parent[edges],
            edge_child=child_of_edge,
            edge_logp=candidates.gain[edges],
        )
        return after, step

    def _candidates(self, beam: Beam, onset: float, accent: float, doubt: float) -> Candidates:
        timing = self.timing
        rows = self.positions[beam.stratum]
        here = rows[np.arange(len(rows)), beam.slot]
        expected = here + (onset - beam.time) / beam.period
        beats = np.maximum(np.rint(expected[:, None] - rows), 0)
        distance = beats + rows - here[:, None]
        late = onset - (beam.time[:, None] + distance * beam.period[:, None])
        var = self._variance(beam, distance, onset) + timing.onset_sd_s**2
        plain = np.log1p(-timing.stray_probability) - 0.5 * (late**2 / var + np.log(var) + _LOG_2PI)
        wide = var + timing.stray_sd_s**2
        astray = np.log(timing.stray_probability) - 0.5 * (late**2 / wide + np.log(wide) + _LOG_2PI)
        count = beats.astype(np.int64)
        grammar, node, context = self._grammar(beam, count)
        grammar = grammar + timing.accent_weight * accent * self.strength
        grammar = np.where(distance > 1e-9, grammar, IMPOSSIBLE)
        gain = np.maximum(plain, astray) + grammar
        fresh = np.zeros(gain.shape, dtype=bool)
        silence = (onset - beam.time) / beam.period > timing.fresh_phase_gap_taps
        if silence.any():
            anew = grammar - np.log(beam.period)[:, None] - timing.fresh_phase_cost
            fresh = silence[:, None] & (anew > gain) & (beats > 0)
            gain = np.where(fresh, anew, gain)
        floor = (beam.score[:, None] + gain).max() - self._slack
        parent, slot = np.nonzero((gain > IMPOSSIBLE / 2) & (beam.score[:, None] + gain > floor))
        at = (parent, slot)
        everyone = np.arange(len(beam.score))
        none = np.zeros(len(everyone))
        skip = np.full(len(everyone), np.log(timing.extra_density_per_s) + doubt)
        return Candidates(
            parent=np.concatenate([parent, everyone]),
            slot=np.concatenate([slot, beam.slot]),
            beat=np.concatenate([beam.beat[parent] + count[at], beam.beat]),
            node=np.concatenate([node[at], beam.node]),
            context=np.concatenate([context[at], beam.context]),
            gain=np.concatenate([gain[at], skip]),
            distance=np.concatenate([distance[at], none]),
            stray=np.concatenate([(astray > plain)[at], none > 0]),
            fresh=np.concatenate([fresh[at], none > 0]),
            extra=np.concatenate([np.zeros(len(parent), dtype=bool), none == 0]),
        )

    def _grammar(self, beam: Beam, beats: IntArray) -> tuple[FloatArray, IntArray, IntArray]:
        """Log probability, node and context of every next slot, shape (h, s), for beats crossed."""
        words = self.words
        feel = self.feel[beam.stratum]
        ended = words.node_class[beam.node]
        end = words.end_logp[beam.context, beam.node]
        same = words.continue_logp[beam.context, beam.node]
        next_beat = end[:, None] + self.first_logp[ended, feel]
        rests = np.minimum(beats - 2, _CHARGED_RESTS)
        later = (end + self.empty_logp[ended, feel])[:, None] + self.first_logp[_EMPTY, feel]
        later = later + rests * self.empty_logp[_EMPTY, feel][:, None]
        logp = np.where(beats == 0, same, np.where(beats == 1, next_beat, later))
        node = np.where(beats == 0, words.child[beam.node], self.first_node[feel])
        context = np.where(beats == 0, beam.context[:, None], np.where(beats == 1, ended[:, None], _EMPTY))
        return np.where(node >= 0, logp, IMPOSSIBLE), node, context

    def _walk(self, beam: Beam, onset: float) -> FloatArray:
        """Variance by which the period wanders in a tapped beat: more where a line may slow to its end."""
        timing = self.timing
        ending = onset > self._last_s - timing.ending_taps * beam.period
        return np.asarray((np.where(ending, timing.ending_walk_sd, timing.tempo_walk_sd) * beam.period) ** 2)

    def _variance(self, beam: Beam, distance: FloatArray, onset: float) -> FloatArray:
        walk = self._walk(beam, onset)
        variance = (
            beam.var_time[:, None]
            + 2 * distance * beam.covar[:, None]
            + distance**2 * beam.var_period[:, None]
            + distance**3 / 3 * walk[:, None]
            + distance * self.timing.phase_walk_sd_s**2
        )
        # Steps back, which no note takes, would make it negative.
        return np.asarray(np.maximum(variance, 0.0))

    def _select(
        self, beam: Beam, candidates: Candidates, score: FloatArray
    ) -> tuple[IntArray, IntArray, IntArray]:
        """Merge like hypotheses, keep the best of each stratum; also the edges into those kept."""
        stratum = beam.stratum[candidates.parent]
        bucket = np.rint(np.log(beam.period[candidates.parent]) * _TEMPO_BUCKETS).astype(np.int64)
        bucket -= bucket.min()
        key = (stratum * (int(bucket.max()) + 1) + bucket) * len(self.words.child) + candidates.node
        key = (key * (self.words.start_context + 1) + candidates.context) * 2 + candidates.extra
        order = np.lexsort((-score, key))
        ordered = key[order]
        leads = np.concatenate([[True], ordered[1:] != ordered[:-1]])
        group = np.cumsum(leads) - 1
        best = order[leads]
        by_stratum = np.lexsort((-score[best], stratum[best]))
        homes = stratum[best][by_stratum]
        opens = np.concatenate([[True], homes[1:] != homes[:-1]])
        opening = np.maximum.accumulate(np.where(opens, np.arange(len(homes)), 0))
        rank = np.arange(len(homes)) - opening
        top = score[best][by_stratum]
        keep = (rank < self.beam) & (top > top[opening] - self.search.prune_note)
        keep &= top > score.max() - self._slack
        chosen = by_stratum[keep]
        new_index = np.full(len(best), -1, dtype=np.int64)
        new_index[chosen] = np.arange(len(chosen))
        child = new_index[group]
        live = child >= 0
        return best[chosen], order[live], child[live]

    def _filter(
        self, beam: Beam, candidates: Candidates, kept: IntArray, score: FloatArray, onset: float
    ) -> Beam:
        """Kalman step of the kept hypotheses."""
        timing = self.timing
        old = beam.take(candidates.parent[kept])
        distance = candidates.distance[kept]
        fresh = candidates.fresh[kept]
        extra = candidates.extra[kept]
        walk = self._walk(old, onset)
        predicted = old.time + distance * old.period
        var_time = self._variance(old, distance[:, None], onset)[:, 0]
        covar = old.covar + distance * old.var_period + distance**2 / 2 * walk
        var_period = old.var_period + distance * walk
        noise = timing.onset_sd_s**2 + np.where(candidates.stray[kept], timing.stray_sd_s**2, 0.0)
        gain_time, gain_period = var_time / (var_time + noise), covar / (var_time + noise)
        late = onset - predicted
        bound = self.strata.period_bound
        home = self.strata.period_s[old.stratum]
        period = np.clip(old.period + gain_period * late, home / bound, home * bound)
        learned = ~fresh & ~extra
        return Beam(
            score=score,
            stratum=old.stratum,
            node=candidates.node[kept],
            context=candidates.context[kept],
            slot=candidates.slot[kept],
            beat=candidates.beat[kept],
            time=np.where(extra, old.time, np.where(fresh, onset, predicted + gain_time * late)),
            period=np.where(learned, period, old.period),
            var_time=np.where(extra, old.var_time, np.where(fresh, noise, (1 - gain_time) * var_time)),
            covar=np.where(learned, (1 - gain_time) * covar, np.where(fresh, 0.0, old.covar)),
            var_period=np.where(learned, var_period - gain_period * covar, old.var_period),
        )

    def _reading(self, beam: Beam, closing: FloatArray, steps: list[Step], start: FloatArray) -> Reading:
        final = beam.score + closing
        winner = int(np.argmax(final))
        n = len(steps)
        path = np.zeros(n, dtype=np.int64)
        path[-1] = winner
        for i in range(n - 1, 0, -1):
            path[i - 1] = steps[i].parent[path[i]]
        slot = np.array([step.slot[at] for step, at in zip(steps, path, strict=True)])
        beat = np.array([step.beat[at] for step, at in zip(steps, path, strict=True)])
        extra = np.array([step.extra[at] for step, at in zip(steps, path, strict=True)])
        stratum = int(beam.stratum[winner])
        period = float(self.strata.period_s[stratum])
        far = np.abs(np.log(self.strata.period_s[beam.stratum] / period)) > 0.1
        swing = float(self.strata.swing[stratum])
        second = int(np.argmax(np.where(far, final, -np.inf)))
        return Reading(
            beat=beat,
            tick=self.words.slot_tick[slot],
            position=beat + self.positions[stratum][slot],
            extra=extra,
            certainty=posterior(steps, closing, start, path, 1.0 / self.search.temper),
            period_s=period,
            swing=None if np.isnan(swing) else swing,
            score=float(final[winner]),
            runner_up=float(final[second]) if far.any() else -np.inf,
            runner_up_period_s=float(self.strata.period_s[beam.stratum[second]]) if far.any() else np.nan,
        )
