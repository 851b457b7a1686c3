"""The tree of beats in a bar, and which written values may run over its joints."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from transcriber.records.written import Meter


@dataclass(frozen=True)
class Branch:
    """A node of the beat tree, in denominator beats; `parts` are the lengths of its children."""

    start: Fraction
    length: Fraction
    parts: tuple[Fraction, ...]

    @property
    def end(self) -> Fraction:
        """Where it ends."""
        return self.start + self.length

    def children(self, meter: Meter) -> tuple[Branch, ...]:
        """Give the branches it parts into."""
        found = []
        start = self.start
        for part in self.parts:
            found.append(branch_of(start, part, meter))
            start += part
        return tuple(found)


def branch_of(start: Fraction, length: Fraction, meter: Meter) -> Branch:
    """Give the branch of a bar's beat tree that starts here and lasts so long."""
    return Branch(start, length, _parts(length, meter))


def _parts(length: Fraction, meter: Meter) -> tuple[Fraction, ...]:
    """Lengths of a branch's children: how the meter divides this many denominator beats."""
    taps = length / meter.tap
    if taps.denominator == 1 and taps > 1:
        return tuple(Fraction(part * meter.tap) for part in _groups(int(taps)))
    if meter.compound and taps == 1:
        return (Fraction(1),) * 3
    return (length / 2,) * 2


def _groups(taps: int) -> tuple[int, ...]:
    if taps % 2 == 0:
        return (taps // 2,) * 2
    if taps % 3 == 0:
        return (taps // 3,) * 3
    head = 3 if taps == 5 else 1 << (taps.bit_length() - 1)
    return (head, taps - head)


def may_cross(branch: Branch, start: Fraction, end: Fraction, meter: Meter) -> bool:
    """Whether a sounding span may run over the joints of this branch and still show the beat."""
    head, tail = start - branch.start, end - branch.start
    if len(set(branch.parts)) != 1:
        return False
    part = branch.parts[0]
    if len(branch.parts) == 3:
        return _crosses_thirds(head, tail, part, duple=part * 3 == meter.tap)
    if meter.compound and branch.length > meter.tap:
        return False
    if not head < part < tail:
        return False
    quarter = branch.length / 4
    return head in (0, quarter) and tail in (3 * quarter, branch.length)


def _crosses_thirds(head: Fraction, tail: Fraction, part: Fraction, duple: bool) -> bool:
    """Rule for a branch of three: whole thirds; a dotted third from a joint; halves in a compound beat."""
    on_joints = (head / part).denominator == 1 and (tail / part).denominator == 1
    if on_joints:
        return tail - head > part
    half = part * 3 / 2
    if duple and head in (0, half) and tail in (half, part * 3):
        return True
    return (head / part).denominator == 1 and tail - head == half
