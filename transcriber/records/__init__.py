"""Frozen records that the stages hand to one another.

Every stage takes records and returns new ones; nothing here computes, opens or prints.
Times are seconds in the file as recorded, whatever part of it was read. Pitches are MIDI numbers
(69 is the reference pitch, 440 Hz unless said otherwise). Rhythm is exact (`fractions.Fraction`),
counted in beats of the meter's denominator.
"""
