"""`transcriber retime`: the rhythm of a draft written anew, the rest and all corrections kept."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from transcriber.cli.console import Output
from transcriber.cli.export_command import draft_name, draft_path
from transcriber.cli.results import check_folder, check_free, write_into
from transcriber.cli.summary import print_summary, result_entry
from transcriber.cli.values import export_settings, format_names, told_from
from transcriber.draft_files import result_paths, retimed_files
from transcriber.errors import UsageError
from transcriber.records.told import Told


def run_retime(arguments: argparse.Namespace) -> int:
    """Write one draft anew, with the formats asked for."""
    told = told_from(arguments)
    if told == Told():
        raise UsageError("nothing to change was told; give --tempo, --meter, --pickup, --downbeat or --beats")
    export = export_settings(arguments)
    formats = format_names(arguments.to)
    draft = draft_path(arguments.draft)
    name = draft_name(draft)
    folder = draft.parent if arguments.out is None else Path(arguments.out)
    check_free(result_paths(folder, name, formats), arguments.force)
    check_folder(folder)
    made = retimed_files(draft, told, folder, name, formats, export)
    write_into(folder, made.files, arguments.force)
    output = Output(quiet=arguments.json)
    print_summary(output, arguments.draft, made)
    if arguments.json:
        Output().raw(json.dumps([result_entry(arguments.draft, made)], indent=2))
    return 0
