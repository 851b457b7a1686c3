"""Commands and options, and what to answer when one is mistyped."""

from __future__ import annotations

import argparse
import difflib
from collections.abc import Sequence
from typing import NoReturn, TypeAlias

from transcriber.attempts import EARS
from transcriber.draft_files import USUAL_FORMATS, export_formats
from transcriber.errors import UsageError
from transcriber.settings import EXPORT_CHOICES

PROGRAM = "transcriber"
DESCRIPTION = "Drafts tab, rhythm and MIDI from a recording of single-note guitar."
EXIT_CODES = (
    "exit codes: 0 done, 1 failed, 2 wrong usage, 3 unreadable recording, 4 no notes found, 130 interrupted"
)

SOUND_FILES = "WAV, FLAC, OGG, MP3, Opus, AIFF"

EXPORT_HELP = {
    "timing": "MIDI: as it was played, or as it is written",
    "channels": "MIDI: one channel, one for each string, or MPE",
    "slurs": "MIDI: slurred notes are struck, or joined to the note before",
    "staves": "MusicXML and sheet: notation and tab, or either alone",
    "paper": "sheet: size of the page",
    "ink": "phrases: colour of the lines, for a bright or a dark film",
    "marks": "necks: what stands at a place",
    "hand": "necks: the hand that picks",
}
# A lesson's pictures of phrases are for its bright page, so their ink is not chosen.
LESSON_CHOICES = ("timing", "channels", "slurs", "staves", "paper", "marks", "hand")


class Parser(argparse.ArgumentParser):
    """A parser whose errors are raised, in one line, like every other error of the program."""

    def error(self, message: str) -> NoReturn:
        """Raise a `UsageError` where argparse would print and leave."""
        raise UsageError(f"{message}; see '{self.prog} --help'")


Commands: TypeAlias = "argparse._SubParsersAction[Parser]"


def build_parser() -> tuple[Parser, dict[str, Parser]]:
    """Make the parser, and the parser of each command by name."""
    parser = Parser(prog=PROGRAM, description=DESCRIPTION, epilog=EXIT_CODES, allow_abbrev=False)
    parser.add_argument("--version", action="store_true", help="print the version and leave")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", title="commands")
    for add in (
        _add_draft,
        _add_retime,
        _add_export,
        _add_instrument,
        _add_render,
        _add_review,
        _add_check,
        _add_loops,
        _add_lesson,
    ):
        add(commands)
    return parser, commands.choices


def parse(arguments: Sequence[str]) -> argparse.Namespace:
    """Read the arguments.

    Raises
    ------
    UsageError
        If they cannot be read; the message suggests the nearest command or option.
    """
    parser, commands = build_parser()
    words = [word for word in arguments if not word.startswith("-")]
    leading = [word for word in arguments[: arguments.index(words[0])] if words] if words else arguments
    if words and words[0] not in commands and not set(leading) & {"-h", "--help", "--version"}:
        raise UsageError(_unknown("command", words[0], list(commands), PROGRAM))
    parsed, rest = parser.parse_known_args(list(arguments))
    if rest:
        chosen = commands[parsed.command] if parsed.command else parser
        known = [option for action in chosen._actions for option in action.option_strings]
        named = next((word for word in rest if word.startswith("-")), rest[0])
        raise UsageError(_unknown("option", named.partition("=")[0], known, chosen.prog))
    if parsed.command is None and not parsed.version:
        raise UsageError(f"no command was given; try '{PROGRAM} draft TAKE' or '{PROGRAM} --help'")
    return parsed


def _unknown(kind: str, word: str, known: list[str], program: str) -> str:
    near = difflib.get_close_matches(word, known, n=1, cutoff=0.5)
    hint = f"did you mean '{near[0]}'?" if near else f"see '{program} --help'"
    return f"there is no {kind} '{word}'; {hint}"


def _command(commands: Commands, name: str, about: str, description: str) -> Parser:
    return commands.add_parser(
        name, help=about, description=description, epilog=EXIT_CODES, allow_abbrev=False
    )


def _add_draft(commands: Commands) -> None:
    parser = _command(
        commands,
        "draft",
        "draft recordings of single-note guitar",
        "Writes NAME.draft.json, and NAME in the formats asked for, for each recording NAME.*, "
        "beside it or in the folder given.",
    )
    parser.add_argument("takes", nargs="+", metavar="TAKE", help=f"recording: {SOUND_FILES}")
    told = parser.add_argument_group("what you know about the take")
    _add_rhythm(told)
    told.add_argument("--count-in", metavar="N", help="so many clicks lead to bar 1, one a beat")
    told.add_argument("--click", action="store_true", help="a metronome sounds through the take")
    told.add_argument("--instrument", metavar="NAME_OR_FILE", default="standard", help="default: standard")
    told.add_argument("--tuning", metavar="NOTES", help="from the lowest string up: 'D A D G B E', 'drop d'")
    told.add_argument("--capo", metavar="FRET", help="fret of the capo")
    told.add_argument("--frets", metavar="N", help="number of frets on the neck, from the nut (24)")
    told.add_argument("--position", metavar="FRET", help="fret of the index finger from the capo, 0: open")
    told.add_argument(
        "--pin",
        metavar="S=STRING/FRET",
        action="append",
        default=[],
        help="where the note at this second is played, '1.25=2/5'; may be given again",
    )
    told.add_argument(
        "--chords",
        metavar="ROW",
        help="chords one a bar, over and over: 'Am | F | C G | %%'; / holds a chord, NC is none",
    )
    told.add_argument("--key", metavar="KEY", help="'A minor', 'Bb', 'D dorian'; found if not given")
    told.add_argument("--start", metavar="S", help="draft from this second of the file")
    told.add_argument("--end", metavar="S", help="draft up to this second of the file")
    _add_output(parser)
    _add_formats(parser, USUAL_FORMATS)


def _add_export(commands: Commands) -> None:
    parser = _command(
        commands,
        "export",
        "write a draft in other formats",
        "Writes a draft, your corrections applied, in the formats asked for.",
    )
    _add_draft_document(parser)
    parser.add_argument(
        "--out",
        metavar="PLACE",
        help="folder, or for one format a file, or - for standard output; default: beside the draft",
    )
    _add_common(parser)
    _add_formats(parser, ())


def _add_rhythm(told: argparse._ArgumentGroup) -> None:
    told.add_argument("--tempo", metavar="BPM", help="beats you tap a minute, 20 to 400, or a range: 90-110")
    told.add_argument("--meter", metavar="N/N", help="time signature; 4/4 unless the line clearly differs")
    told.add_argument("--pickup", metavar="BEATS", help="beats from the first note to bar 1: 0, 1/2, 1+1/2")
    told.add_argument("--beats", metavar="FILE", help="text file with the time of a tapped beat in each line")


def _add_retime(commands: Commands) -> None:
    parser = _command(
        commands,
        "retime",
        "write a draft anew in another tempo, meter, pickup or downbeat",
        "Writes the rhythm of NAME.draft.json anew without listening again. What is not told "
        "stays: tempo, meter, where bar 1 begins, and all that is not rhythm. Your corrections are kept; "
        "those that were made for the rhythm before are named.",
    )
    _add_draft_document(parser)
    told = parser.add_argument_group("what you know about the take")
    _add_rhythm(told)
    told.add_argument("--downbeat", metavar="S", help="second of the file at which a bar begins")
    _add_output(parser)
    _add_formats(parser, USUAL_FORMATS)


def _add_formats(parser: Parser, usual: tuple[str, ...]) -> None:
    listed = "; ".join(f"{row.name}: {row.about}" for row in export_formats())
    told = parser.add_argument_group("formats")
    told.add_argument(
        "--to",
        metavar="FORMAT,...",
        action="append",
        help=listed + (f" (default: {','.join(usual)})" if usual else ""),
    )
    _add_written(told, tuple(EXPORT_HELP))


def _add_written(told: argparse._ArgumentGroup, names: tuple[str, ...]) -> None:
    told.add_argument("--width", metavar="N", default="80", help="longest line of text tab, 60 to 200")
    told.add_argument("--count", action="store_true", help="show in tab and sheet how it is counted aloud")
    for name in names:
        choices = EXPORT_CHOICES[name]
        told.add_argument(
            f"--{name}",
            choices=choices,
            default=choices[0],
            help=f"{EXPORT_HELP[name]} (default: {choices[0]})",
        )


def _add_instrument(commands: Commands) -> None:
    parser = _command(
        commands,
        "instrument",
        "measure your own guitar from a recording of single notes",
        "Record each string from the lowest up, open and then at fret 12, one note after the "
        "other, each left to ring for a second or two. Tuning, intonation, stiffness and tone of each string "
        "are measured and written to a file for 'draft --instrument FILE'.",
    )
    parser.add_argument("recording", metavar="RECORDING", help=SOUND_FILES)
    parser.add_argument("--out", metavar="FILE.json", required=True, help="instrument file to write")
    parser.add_argument(
        "--instrument", metavar="NAME_OR_FILE", default="standard", help="its tuning and frets (standard)"
    )
    parser.add_argument("--notes", metavar="S/F...", help="what is played instead, in order: '6/0 6/12 5/3'")
    _add_common(parser)


def _add_render(commands: Commands) -> None:
    parser = _command(
        commands,
        "render",
        "play a written line with the program's own guitar",
        "Plays NAME.line.json and writes the sound, and its truth as NAME.truth.json beside it.",
    )
    parser.add_argument("line", metavar="LINE", help="a line file, NAME.line.json")
    parser.add_argument("--out", metavar="FILE.flac", required=True, help="sound file to write")
    parser.add_argument("--seed", metavar="N", default="1", help="another number is another take of the line")
    parser.add_argument("--style", metavar="NAME", help="how it is played: exact, steady, loose, beginner")
    parser.add_argument("--tone", metavar="NAME", help="how it sounds: clean, warm, bright, edge, driven")
    parser.add_argument("--tempo", metavar="BPM", help="play it at this tempo, 20 to 400")
    _add_common(parser)


def _add_review(commands: Commands) -> None:
    parser = _command(
        commands,
        "review",
        "open the page to hear, check and correct a draft",
        "Serves a page on this machine alone, for NAME.draft.json. Corrections go at once to "
        "NAME.corrections.jsonl beside it, and every other command sees them.",
    )
    _add_draft_document(parser)
    _add_take(parser)
    parser.add_argument(
        "--attempt",
        metavar="FILE",
        help="show a checked attempt over the line: ATTEMPT.check.json, its recording beside it",
    )
    parser.add_argument("--port", metavar="N", help="port to listen on, 1024 to 65535 (8417, or a free one)")
    parser.add_argument("--browser", action="store_true", help="open the page in the browser at once")
    instead = parser.add_argument_group("instead of opening the page")
    instead.add_argument("--standalone", metavar="FILE.html", help="write one page that needs no server")
    instead.add_argument("--labels", metavar="FILE.jsonl", help="write drafted and corrected notes as data")
    instead.add_argument("--summary", action="store_true", help="count corrections per 100 notes and minutes")
    _add_common(parser)


def _add_check(commands: Commands) -> None:
    parser = _command(
        commands,
        "check",
        "hold a student's attempt against a draft",
        "Listens to an attempt at the line of a draft, at any tempo, with stops, restarts and "
        "gaps, and tells note by note what became of it. Writes ATTEMPT.check.json and compares it with "
        "earlier ones in the same folder.",
    )
    parser.add_argument("attempt", metavar="ATTEMPT", help="the student's recording")
    parser.add_argument("draft", metavar="DRAFT", help="the draft of the line, NAME.draft.json")
    parser.add_argument(
        "--ear",
        choices=EARS,
        default="intermediate",
        help="how far off a note may be: 80, 50 or 30 ms; 50, 35 or 25 cents (default: intermediate)",
    )
    parser.add_argument("--count-in", metavar="N", help="so many clicks lead to the attempt")
    parser.add_argument("--click", action="store_true", help="a metronome sounds through the attempt")
    parser.add_argument("--start", metavar="S", help="from this second of the file")
    parser.add_argument("--end", metavar="S", help="up to this second of the file")
    _add_output(parser)


def _add_loops(commands: Commands) -> None:
    parser = _command(
        commands,
        "loops",
        "cut a take into loops of its phrases, slow and at tempo",
        "Writes each phrase of a draft as WAV at the speeds asked for, its pitch kept: a "
        "seamless loop (.loop.wav), the same after a bar of clicks (.counted.wav), and a practice plan.",
    )
    _add_draft_document(parser)
    parser.add_argument("--phrase", metavar="N", help="this phrase only")
    _add_loop_options(parser)
    _add_output(parser)


def _add_lesson(commands: Commands) -> None:
    parser = _command(
        commands,
        "lesson",
        "gather the material of a lesson in one folder",
        "Writes sheet, text tab, MIDI, MusicXML, pictures of the neck, facts of each phrase, "
        "loops, captions and chapter times of a draft into one folder, with an index page.",
    )
    _add_draft_document(parser)
    _add_loop_options(parser)
    _add_output(parser)
    written = parser.add_argument_group("how it is written")
    _add_written(written, LESSON_CHOICES)


def _add_draft_document(parser: Parser) -> None:
    parser.add_argument("draft", metavar="DRAFT", help="a draft document, NAME.draft.json")


def _add_take(parser: Parser) -> None:
    parser.add_argument("--take", metavar="FILE", help="the recording, where it is not beside the draft")


def _add_loop_options(parser: Parser) -> None:
    _add_take(parser)
    parser.add_argument(
        "--speeds", metavar="PERCENT,...", default="50,70,85,100", help="25 to 150 (50,70,85,100)"
    )
    parser.add_argument("--no-click", action="store_true", help="no click in the loops")
    parser.add_argument("--backing", action="store_true", help="the draft's chords sound under the loops")


def _add_output(parser: Parser) -> None:
    parser.add_argument("--out", metavar="DIR", help="folder for what is written; made if it is not there")
    _add_common(parser)


def _add_common(parser: Parser) -> None:
    parser.add_argument("--force", action="store_true", help="replace files that are there")
    parser.add_argument("--json", action="store_true", help="print results as JSON and nothing else")
    parser.add_argument("--jobs", metavar="N", help="use at most this many threads")
    parser.add_argument("-v", "--verbose", action="store_true", help="tell more, and how errors came about")
    parser.add_argument("-q", "--quiet", action="store_true", help="no progress")
