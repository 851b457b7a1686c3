"""Lines written by hand in four idioms of lead playing, own compositions, in the figures of `rhythm_lines`.

Each row: title, tapped tempo, meter, pickup in denominator beats, swing, text. Nothing is fitted to them.
"""

from __future__ import annotations

from tests.notation.rhythm_lines import RhythmLine, parse

_TEXT = {
    "blues-rock": (
        ("Gravel lot", 96, "4/4", "1", None,
         "e e | q. e e s s q | rq e e q. e | h re e e e | e3*3 q e e q | q.+q e h"),
        ("Two-bar answer", 104, "4/4", "1/2", None,
         "e | q e e e. s q | h rq re e | q e e e3*3 q | h rq re e | s s e e e q. e | w"),
        ("Late train blues", 84, "4/4", "3/2", None,
         "e e e | h+e e e e | e3*3 e3*3 h | rq e e q. e | s s s s q+e e e e | h. rq"),
        ("Box turn", 112, "4/4", "0", None,
         "e e q e e q | e s s e e h | rq e e q e e | q. e e e q | e e e e e s s q | w"),
        ("Bend and hold", 76, "4/4", "1", None,
         "e s s | h. s s e+q e e s s s s q | s3*6 q h | re e e e q. s s | h+q rq"),
        ("Stop time", 100, "4/4", "0", None,
         "q rq rq e e | q rq rq s s e | q e e e3*3 e e | e s s s s e q rq | q. e e e q | h rh"),
        ("Rowdy pickup", 120, "4/4", "2", None,
         "q e e | q e e q e e | h re e e e | q e e q e e | h re e s s e | e e e e q. e | w"),
        ("Half-time lead", 72, "4/4", "3/4", None,
         "s s s | q. e e s s e e | q s3*6 e. s q | re e s s s s h | e s s q+e e s s e | h. rq"),
        ("Shuffling home", 116, "4/4", "1", 2.0,
         "e e | q e e e e q | h rq e e | q. e e e q | e e e e e e e e | h. rq"),
        ("Slow shuffle answer", 88, "4/4", "1/2", 1.9,
         "e | e e q e e q | q. e h | re e e e q e e | e3*3 e e h | q e e+q e e | w"),
    ),
    "funk": (
        ("Hard on one", 100, "4/4", "0", None,
         "e rs s rs s e re e q | e rs s rs s e e s s q | e rs s rs s e re e s s e | q rq rh"),
        ("Scratch and answer", 96, "4/4", "0", None,
         "q re s s e e re e | rs s e e e s s rs s q | q re s s e e re e | e. s+e e q rq"),
        ("Ghosted pocket", 92, "4/4", "1/2", None,
         "s s | e. s e e rs s e q | e s s rs s e e. s q | e. s e e rs s e e s s | e rs s+q h"),
        ("Clav line", 106, "4/4", "0", None,
         "e s s re s s e e q | s s e rs s e q e e | e s s re s s e e e e | s s s s e e h"),
        ("Push the four", 98, "4/4", "0", None,
         "e e rs s e e s s re e+e e s s e q re s s | e. s+e e q q "
         "| e e rs s e e s s re e+e e s s e h | w"),
        ("Displaced", 110, "4/4", "1/4", None,
         "s | e. s re s s rs s e q | e. s e s s e e re s s | e. s re s s rs s e q | h rh"),
        ("Sixteenth riff with holes", 88, "4/4", "0", None,
         "s s rs s rs s e re s s q | s s rs s rs s s s e e q | s s rs s rs s e re s s e e | q q rh"),
        ("Backbeat stab", 102, "4/4", "0", None,
         "rq e s s rq e e | re e e s s rq q | rq e s s re s s e e | q. e s s e q"),
        ("Tight two-bar vamp", 94, "4/4", "1", None,
         "e s s | q re s s e. s e e | rq e s s e e e s s | q re s s e. s e e | q. e h"),
        ("Late sixteenth groove", 104, "4/4", "0", None,
         "e. s e e q s s e | rs s e e. s q re e | e. s e e s s e s s s s | e. s+q h"),
    ),
    "ballad": (
        ("Window light", 66, "4/4", "1", None,
         "e e | h q e e | q. e h | rq e e q e e | h+e e e e | q s s e h | w"),
        ("Long goodbye", 60, "4/4", "3/2", None,
         "e e e | q. s s h | e e e e q. e | h rq e e | s s s s e. s q e e | h+q rq"),
        ("Harbour at night", 72, "4/4", "0", None,
         "h. e e | q. e h | e e q. e q | h rq q | e s s q+e e q | h. rq"),
        ("Held over", 68, "4/4", "1", None,
         "e e | h. e e+h e e q | e. s+q e e q | h. e e | q. e q e e | w"),
        ("Snow on the line", 63, "4/4", "1/2", None,
         "s s | q. e e s s q | h re s s e e | q e3*3 h | rq e s s q. e | q. s s h | w"),
        ("Lantern waltz", 92, "3/4", "1", None,
         "e e | h e e | q. e q | h. | e e q e e | h e e | q. e e e | h."),
        ("Rolling six", 52, "6/8", "1", None,
         "e | q. e e e | q. q e | e s s e q e | q. rq e | e e e s s e e | q.+q."),
        ("Quiet promise", 74, "4/4", "2", None,
         "e e e e | h q q | e e q h | rh e e e e | q. e e e q | h q e e | w"),
        ("Aching bends", 64, "4/4", "0", None,
         "re e e e h | q+e e s s e q | re e e s s h | e3*3 q+e e e e | q. e h | w"),
        ("Open sky", 70, "4/4", "1", None,
         "q | q. e q e e | h. q | q. e e e s s e | h. e e | q e e q. e | h. rq"),
    ),
    "folk": (
        ("Mill road", 118, "4/4", "1", None,
         "e e | q q e e q | q e e h | q e e e e e e | q q h | e e q q e e | h. rq"),
        ("Ferry song", 108, "4/4", "1/2", None,
         "e | q e e q. e | q q q re e | e e e e q. e | h. re e | q. e e e q | h. rq"),
        ("Hay cart jig", 112, "6/8", "1", None,
         "e | q e e e e | q e q. | e e e q e | q. q e | q e e e e | e e e q e | q. q."),
        ("Orchard waltz", 132, "3/4", "1", None,
         "q | q e e q | h q | q q q | h e e | q e e q | q q q | h. | h."),
        ("Fiddle reel on strings", 104, "4/4", "1/2", None,
         "s s | e s s e e e s s e e | s s s s e e q q | e s s e e s s s s e e | q e e q q | h rh"),
        ("Slow march", 88, "4/4", "1", None,
         "e. s | q q e. s q | q e. s h | e. s q q e. s | q q h | q e. s e e q | h rh"),
        ("Two-four step", 104, "2/4", "1/2", None,
         "e | e e q | e s s e e | q e e | q. e | e e s s e | e e q | e s s e e | h"),
        ("Shepherd's air", 80, "3/4", "0", None,
         "q. e q | h e e | q e e q | h. | q. e q | e e e e q | q. e q | h."),
        ("Slip of the tide", 96, "6/8", "0", None,
         "q e q e | e e e q. | q e e e e | q. q. | e e e q e | q e e s s e | q.+q."),
        ("Lane to the well", 124, "4/4", "1/2", None,
         "e | q e e q e e | q. e h | e e q e e q | q q q re e | q e e e e q | w"),
    ),
}  # fmt: skip

IDIOMS = tuple(_TEXT)


def idiom_lines(idiom: str) -> tuple[RhythmLine, ...]:
    """Lines of one idiom."""
    return tuple(parse(*row) for row in _TEXT[idiom])
