"""Tables of the accuracy report, as text, and the list of what went wrong take by take."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tests.accuracy.judge import Judgement, Note, Pair, Tally, figures, technique_figures
from tests.accuracy.takes import JudgedTake

COUNTS = ("takes", "true notes")
GROUP_COLUMNS = (
    ("note F", "note F"),
    ("start", "start"),
    ("rhythm", "rhythm"),
    ("downbeat", "downbt"),
    ("tempo", "tempo"),
    ("tempo or half/double", "tempo2"),
    ("techniques F", "tech F"),
    ("place", "place"),
    ("corrections/100", "corr"),
    ("honesty AUC", "AUC"),
)


@dataclass(frozen=True)
class Result:
    """One take judged.

    Attributes
    ----------
    take : JudgedTake
    judgement : Judgement
        Of the project's draft.
    near : Tally
        The project's notes with places by the rule "fret nearest the given position".
    base : Tally or None
        The general parts' tally, None if none is stored for this take.
    drafted_bpm : float
    seconds : float
        Time the drafting took.
    """

    take: JudgedTake
    judgement: Judgement
    near: Tally
    base: Tally | None
    drafted_bpm: float
    seconds: float


def pool(tallies: Sequence[Tally]) -> Tally:
    """Add tallies up."""
    total = Tally()
    for tally in tallies:
        total = total + tally
    return total


def overall_table(results: Sequence[Result]) -> str:
    """All figures of the project, and of the baseline on those takes for which it is stored."""
    project = figures(pool([result.judgement.tally for result in results]))
    compared = [result for result in results if result.base is not None]
    base = figures(pool([result.base for result in compared if result.base]))
    near = figures(pool([result.near for result in results]))
    rows = [f"{'figure':24}{'project':>10}{'baseline':>10}"]
    for name in project:
        other = base[name] if compared else None
        rows.append(f"{name:24}{_cell(name, project[name]):>10}{_cell(name, other):>10}")
    rows.append(f"{'place, nearest-fret rule':24}{_cell('place', near['place']):>10}")
    return "\n".join(rows)


def group_table(results: Sequence[Result], title: str, group: Callable[[Result], str]) -> str:
    """Main figures for each group: the project's, and below them the baseline's."""
    names: list[str] = []
    for result in results:
        if group(result) not in names:
            names.append(group(result))
    rows = [f"{title:24}{'takes':>6}" + "".join(f"{short:>8}" for _, short in GROUP_COLUMNS) + f"{'rule':>8}"]
    for name in names:
        inside = [result for result in results if group(result) == name]
        near = figures(pool([result.near for result in inside]))
        rows.append(
            _group_row(name, [r.judgement.tally for r in inside]) + f"{_cell('place', near['place']):>8}"
        )
        stored = [result.base for result in inside if result.base is not None]
        if stored:
            rows.append(_group_row("  baseline", stored))
    return "\n".join(rows)


def technique_table(results: Sequence[Result]) -> str:
    """Each technique kind on its own."""
    table = technique_figures(pool([result.judgement.tally for result in results]))
    rows = [f"{'technique':24}{'true':>8}{'drafted':>8}{'P':>8}{'R':>8}{'F':>8}"]
    for kind, row in table.items():
        cells = "".join(f"{_cell('', row[key]):>8}" for key in ("precision", "recall", "F"))
        rows.append(f"{kind:24}{row['true']:>8}{row['drafted']:>8}{cells}")
    return "\n".join(rows)


def details(results: Sequence[Result]) -> str:
    """Everything that went wrong: the takes with most corrections first, every wrong note on a row."""
    blocks = []
    for result in sorted(
        results, key=lambda r: -r.judgement.tally.corrections / r.judgement.tally.true_notes
    ):
        tally, composed = result.judgement.tally, result.take.composed
        head = (
            f"== {result.take.spec.name}  {composed.line.title}  {result.take.sound}\n"
            f"   tempo {result.take.truth['timing']['tempo_bpm']} drafted {result.drafted_bpm:.1f}"
            f"  shift {result.judgement.shift_beats} (commonest offset {result.judgement.commonest_offset})"
            f"  position {composed.position}"
            f"  notes {tally.true_notes} drafted {tally.draft_notes} found {tally.found}"
            f"  start {tally.start_right} rhythm {tally.rhythm_right} place {tally.place_right}"
            f"  corrections {tally.corrections}"
        )
        rows = [_detail_row(pair) for pair in result.judgement.pairs if pair.wrong]
        blocks.append("\n".join([head, *rows]))
    return "\n\n".join(blocks) + "\n"


def _group_row(name: str, tallies: Sequence[Tally]) -> str:
    row = figures(pool(tallies))
    return f"{name:24}{len(tallies):>6}" + "".join(
        f"{_cell(long, row[long]):>8}" for long, _ in GROUP_COLUMNS
    )


def _cell(name: str, value: float | None) -> str:
    if value is None:
        return "-"
    if name in COUNTS:
        return f"{value:.0f}"
    return f"{value:.1f}" if name == "corrections/100" else f"{value:.3f}"


def _detail_row(pair: Pair) -> str:
    at = (pair.truth or pair.draft or {})["onset_s"]
    return (
        f"   {at:8.3f} s  {'+'.join(pair.wrong):24} truth {_words(pair.truth):58} draft {_words(pair.draft)}"
    )


def _words(note: Note | None) -> str:
    if note is None:
        return "-"
    techniques = ",".join(_technique_words(technique) for technique in note.get("techniques", ()))
    sure = (note.get("confidence") or {}).get("overall")
    return (
        f"{note['onset_s']:.3f}-{note['end_s']:.3f} m{note['pitch_midi']} {note['string']}/{note['fret']}"
        f" bar {note['bar']} beat {note['beat']} len {note['length']}"
        + (f" [{techniques}]" if techniques else "")
        + (f" ({sure:.2f})" if sure is not None else "")
    )


def _technique_words(technique: Note) -> str:
    semitones = technique.get("semitones")
    return technique["kind"] if semitones is None else f"{technique['kind']} {semitones:g}"
