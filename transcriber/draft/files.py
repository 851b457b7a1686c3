"""Reading and writing draft documents, checked both ways."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from transcriber.draft.coding import decode_draft, encode
from transcriber.draft.consistency import check_consistency
from transcriber.draft.document import Draft
from transcriber.draft.layout import document_text
from transcriber.draft.schema import check_document, show_value
from transcriber.draft.versions import migrate
from transcriber.errors import DraftError
from transcriber.files import write_whole


def read_draft(path: Path) -> Draft:
    """Read the machine's draft, without corrections; `read_corrected` is what readers want.

    Parameters
    ----------
    path : Path

    Raises
    ------
    DraftError
        If the file cannot be read, is damaged, breaks a rule or is newer than this program. One line that
        names the file, the JSON path, the value and the bound.
    """
    path = Path(path)
    try:
        data = path.read_bytes()
    except OSError as error:
        raise DraftError(f"draft '{path}' cannot be read: {error.strerror or error}") from error
    return parse_draft(data, path.name)


def source_file(path: Path) -> str | None:
    """Name of the recording that a draft names, without checking the draft; None if it cannot be told."""
    try:
        name = load_json(path.read_bytes(), path.name)["source"]["file"]
    except (OSError, DraftError, KeyError, TypeError):
        return None
    return name if isinstance(name, str) and name else None


def parse_draft(data: bytes, name: str = "draft") -> Draft:
    """Build a draft from the bytes of a document; errors as `read_draft`, calling it `name`."""
    document = migrate(load_json(data, name), name)
    check_document(document, name)
    draft = decode_draft(document)
    check_consistency(draft, name)
    return draft


def draft_bytes(draft: Draft, name: str = "draft") -> bytes:
    """Return the checked document as bytes, the same for the same draft.

    Raises
    ------
    DraftError
        If the draft breaks the schema or a rule across fields.
    """
    document = encode(draft)
    check_document(document, name)
    check_consistency(draft, name)
    return document_text(document).encode("utf-8")


def write_draft(draft: Draft, path: Path, force: bool = False) -> None:
    """Write a draft whole or not at all.

    Parameters
    ----------
    draft : Draft
    path : Path
        Usually ``NAME.draft.json``.
    force : bool
        Whether to replace a draft that is there. Its journal of corrections stays.

    Raises
    ------
    DraftError
        If the draft breaks a rule; nothing is written then.
    TranscriberError
        If the file is there and `force` is false, or it cannot be written.
    """
    path = Path(path)
    write_whole(path, draft_bytes(draft, path.name), force)


def load_json(data: bytes, name: str) -> Any:
    """Read JSON strictly: UTF-8, no key twice. NaN passes, so that the schema can say where it stands.

    Raises
    ------
    DraftError
        One line with the place of the fault.
    """
    try:
        return json.loads(data.decode("utf-8"), object_pairs_hook=_object)
    except UnicodeDecodeError as error:
        raise DraftError(f"{name}: byte {error.start} is not UTF-8; the file is damaged") from error
    except json.JSONDecodeError as error:
        raise DraftError(
            f"{name}: line {error.lineno} is not JSON ({error.msg}); the file is damaged"
        ) from error
    except (ValueError, RecursionError) as error:
        raise DraftError(f"{name}: not a document of this program: {error}") from error


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise ValueError(f"the key {show_value(twice)} stands twice in one object")
    return made
