"""Definitions at the head of every LilyPond file that this package writes."""

from __future__ import annotations

VERSION = "2.25.0"

DEFINITIONS = r"""
sheetSharp = \markup \raise #0.45 \fontsize #-3 \sharp
sheetFlat = \markup \raise #0.25 \fontsize #-3 \flat
#(define-markup-command (sheetSmall layout props words) (markup?)
  (interpret-markup layout props (markup #:fontsize -2.5 #:sans words)))
#(define-markup-command (sheetSign layout props words) (markup?)
  (interpret-markup layout props (markup #:fontsize -1.5 #:sans #:bold words)))
sheetCount = \with {
  \override LyricText.self-alignment-X = #CENTER
  \override LyricText.parent-alignment-X = #CENTER
  \override LyricText.font-size = #-1.5
  \override LyricSpace.minimum-distance = #1.2
}
#(define (sheetLines grob)
  (ly:grob-property (ly:grob-object grob 'staff-symbol) 'line-count))
#(define (sheetStemLength grob)
  (if (= (ly:grob-property grob 'direction) DOWN)
      (let ((heads (ly:grob-array->list (ly:grob-object grob 'note-heads))))
        (+ (apply min (map (lambda (head) (ly:grob-property head 'staff-position)) heads))
           (- (sheetLines grob) 1) 3.4))
      (ly:stem::calc-length grob)))
#(define (sheetStemEstimate grob start end)
  (if (= (ly:grob-property grob 'direction) DOWN)
      (let ((half (/ (ly:staff-symbol-staff-space grob) 2)))
        (cons (* half (- -3.4 (- (sheetLines grob) 1) 1)) (* half (- (sheetLines grob) 1))))
      (ly:stem::pure-height grob start end)))
#(define (sheetBeamPlace grob)
  (if (= (ly:grob-property grob 'direction) DOWN)
      (let ((place (/ (+ (- (sheetLines grob) 1) 4.4) -2)))
        (cons place place))
      (beam::place-broken-parts-individually grob)))
"""
"""Commands of the sheet. On a tab staff stems that go down end at one height, and their beams lie level."""

TAB_VOICE = (
    "\\tabFullNotation \\override Tie.after-line-breaking = ##f "
    "\\override Beam.positions = #sheetBeamPlace \\override Stem.length = #sheetStemLength "
    "\\override Stem.Y-extent = #(ly:make-unpure-pure-container ly:stem::height sheetStemEstimate) "
    "\\override TabNoteHead.extra-spacing-width = #'(-0.3 . 0.3) "
    "\\stemDown \\tupletDown \\slurUp \\tieUp "
)
"""What every voice of a tab staff begins with: rhythm under the staff, slurs and arrows over it."""

TAB_VOICE_ALONE = "\\stemUp \\tupletUp \\override NoteColumn.ignore-collision = ##t "
TAB_VOICE_UNDER_NOTATION = (
    "\\omit Stem \\omit Flag \\omit Beam \\omit Dots \\omit TupletBracket \\omit TupletNumber "
    "\\override NoteColumn.ignore-collision = ##t "
)
"""What further voices of a tab staff begin with: their rhythm goes up, or is left to the notation over it."""

LAYOUT = r"""
signs = \with {
  \override TrillSpanner.outside-staff-priority = #60
  \override TextScript.outside-staff-priority = #450
  \override TextSpanner.outside-staff-priority = #350
  \override TextSpanner.style = #'dashed-line
  \override TextSpanner.font-size = #-2
  \override TextSpanner.bound-details.right.text = \markup \draw-line #'(0 . -0.8)
  \override TextSpanner.bound-details.left.stencil-align-dir-y = #CENTER
}
\layout {
  indent = 0
  \context {
    \Score
    \override BarNumber.font-size = #-2
    \override NonMusicalPaperColumn.page-break-penalty = #%(inside)d
    \override TextMark.padding = #1.2
    \override MetronomeMark.padding = #1.2
    \override SpacingSpanner.shortest-duration-space = #2.6
    \override SpacingSpanner.base-shortest-duration = \musicLength 16
  }
  \context {
    \Staff
    \numericTimeSignature
    \omit StringNumber
    \override Glissando.thickness = #1.3
  }
  \context {
    \TabStaff
    \numericTimeSignature
    \override Glissando.thickness = #1.3
    \override StaffSymbol.thickness = #0.7
  }
  \context {
    \Voice
    \signs
  }
  \context {
    \TabVoice
    \signs
  }
  \context {
    \Lyrics
    \override LyricText.self-alignment-X = #LEFT
    \override LyricText.parent-alignment-X = #LEFT
  }
}
"""
