"""Format versions: bringing an older document up to the current one, refusing a newer one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from transcriber.draft.document import FORMAT_VERSION
from transcriber.draft.schema import show_value
from transcriber.errors import DraftError

Migration = Callable[[dict[str, Any]], dict[str, Any]]

# From each older version, the function that returns the document in the next one. A migration works on plain
# JSON values, never on the records, which are always of the current version; the version itself is set here.
MIGRATIONS: Mapping[int, Migration] = {}


def migrate(
    document: Any, name: str, migrations: Mapping[int, Migration] = MIGRATIONS, current: int = FORMAT_VERSION
) -> dict[str, Any]:
    """Bring a document as read to the current format version.

    Parameters
    ----------
    document : object
        As `json.loads` gives it.
    name : str
        What to call the document in an error.
    migrations : mapping of int to function
        From each older version, the function to the next one.
    current : int
        The version to reach.

    Raises
    ------
    DraftError
        If it is no object, tells no version, is newer than `current`, or too old to be brought up.
    """
    if not isinstance(document, dict):
        raise DraftError(f"{name}: $ is {show_value(document)}; a draft is a JSON object")
    version = document.get("format_version")
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise DraftError(
            f"{name}: $.format_version is {show_value(version)}; it must be a whole number from 1"
        )
    if version > current:
        raise DraftError(
            f"{name}: $.format_version is {version}; this program reads up to {current}; use a newer one"
        )
    brought: dict[str, Any] = document
    for step in range(version, current):
        if step not in migrations:
            raise DraftError(
                f"{name}: $.format_version is {version}; it is no longer read; draft the take again"
            )
        brought = {**migrations[step](brought), "format_version": step + 1}
    return brought
