"""Figures of the analysis: ``python -m tests.analysis.measure``.

Report lines are those marked by hand (`marked_lines.txt`) and generated ones with other seeds than the fit's.
"""

from __future__ import annotations

import time
from fractions import Fraction

from tests.analysis.fit_key import boundary_f, chords_of, spans_of
from tests.analysis.keyed_lines import REPORT, KeyedLine, bench_line, song_line
from tests.analysis.marked import MarkedLine, marked_lines
from transcriber.analysis import Given, analyse_line, lay_chords, parse_key
from transcriber.analysis.key import find_key
from transcriber.analysis.phrases import find_phrases, shipped_phrase_parameters
from transcriber.analysis.scales import Scale
from transcriber.records.analysed import Analysis, LinePoint
from transcriber.records.placed import Instrument
from transcriber.records.written import Meter

STANDARD = Instrument("standard", (64, 59, 55, 50, 45, 40), frets=24)
FOUR_FOUR = Meter(4, 4)
SHORTEST = 32
GENERATED = 500


def points_of(line: MarkedLine) -> list[LinePoint]:
    """The notes of a marked line as the analysis gets them."""
    beat = 60 / float(line.facts["tempo"])
    return [
        LinePoint(
            (float(note.start) + 4) * beat,
            (float(note.start + note.length) + 4) * beat,
            note.start,
            note.length,
            note.pitch_midi,
            (note.bend,) if note.bend else (),
            note.string,
            note.fret,
            None,
            note.slid,
        )
        for note in line.notes
    ]


def analysis_of(line: MarkedLine, chords: bool = False, key: bool = False) -> Analysis:
    points = points_of(line)
    end = max(point.start + point.length for point in points)
    laid = lay_chords(line.facts["chords"], 4, end) if chords else ()
    return analyse_line(
        points, STANDARD, FOUR_FOUR, Given(parse_key(line.facts["key"]) if key else None, laid)
    )


def phrase_counts(line: MarkedLine) -> tuple[int, int, int]:
    """Boundaries hit, found and marked; the line's own beginning is none."""
    points = points_of(line)
    mine = [points[first].start for first, _ in find_phrases(points, 4)[1:]]
    marked = line.phrase_starts[1:]
    hits = sum(any(abs(a - b) <= Fraction(1, 2) for b in mine) for a in marked)
    return hits, len(mine), len(marked)


def shape_hits(line: MarkedLine, analysis: Analysis) -> list[bool]:
    """For every note, whether shape and whether it is explained are as marked."""
    found: list[tuple[str, bool]] = [("", False)] * len(line.notes)
    for span in analysis.shapes:
        if span.kind in ("pentatonic_box", "major_scale_shape", "position"):
            for index in range(span.first, span.stop):
                found[index] = (span.name.replace(",", ""), index in span.explained)
    return [(note.shape, note.explained) == mine for note, mine in zip(line.notes, found, strict=True)]


def generated_key_share(make, chords: bool, count: int = GENERATED, seed: int = REPORT) -> float:
    """Share of generated lines of 32 and more notes whose signature is found."""
    right = tried = 0
    for number in range(count):
        line: KeyedLine = make(seed + number)
        if len(line.points) < SHORTEST:
            continue
        tried += 1
        key = find_key(line.points, spans_of(line), chords_of(line) if chords else ())
        right += Scale(key.tonic, key.mode).parent_class == line.parent
    return right / tried


def seconds_for(count: int = 2000) -> float:
    """Time for a line of so many notes, with chords."""
    parts = [points_of(line) for line in marked_lines()]
    points: list[LinePoint] = []
    at = 0
    while len(points) < count:
        part = parts[len(parts) and (at // 64) % len(parts)]
        points += [
            LinePoint(
                p.onset_s + at, p.end_s + at, p.start + at, p.length, p.pitch_midi, p.bends, p.string, p.fret
            )
            for p in part
        ]
        at += 64
    points = points[:count]
    began = time.perf_counter()
    analyse_line(points, STANDARD, FOUR_FOUR, Given(None, lay_chords("Am | F | C | G", 4, Fraction(at))))
    return time.perf_counter() - began


def main() -> None:
    lines = marked_lines()
    total_hits = total_found = total_marked = 0
    shapes: list[bool] = []
    bare = with_chords = tonic = 0
    for line in lines:
        hits, found, marked = phrase_counts(line)
        total_hits, total_found, total_marked = total_hits + hits, total_found + found, total_marked + marked
        alone, given = analysis_of(line), analysis_of(line, chords=True)
        mine = shape_hits(line, alone)
        shapes += mine
        wanted = parse_key(line.facts["key"])
        keys = [Scale(each.key.tonic, each.key.mode) for each in (alone, given)]
        bare += keys[0].parent_class == wanted.parent_class
        with_chords += keys[1].parent_class == wanted.parent_class
        tonic += keys[1] == wanted
        print(
            f"{line.title:16} key {line.facts['key']:13} bare {alone.key!s:13} chords {given.key!s:13} "
            f"phrases {hits}/{found}/{marked}  shapes {sum(mine)}/{len(mine)}"
        )
    count = len(lines)
    print(
        f"\nby hand, {count} lines: signature bare {bare / count:.3f}, with chords {with_chords / count:.3f}"
    )
    print(f"  tonic and mode with chords {tonic / count:.3f}")
    print(f"  phrase boundaries F {2 * total_hits / (total_found + total_marked):.3f}")
    print(f"  shape of each note {sum(shapes) / len(shapes):.3f}")
    for make in (song_line, bench_line):
        figures = [generated_key_share(make, chords) for chords in (False, True)]
        print(f"{make.__name__}: signature bare {figures[0]:.3f}, with chords {figures[1]:.3f}")
    report = [song_line(REPORT + number) for number in range(150)]
    print(f"song_line: phrase boundaries F {boundary_f(report, shipped_phrase_parameters()):.3f}")
    print(f"2,000 notes: {seconds_for():.2f} s")


if __name__ == "__main__":
    main()
