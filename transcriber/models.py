"""The one reader of `models/`: JSON files with their own format version, units and provenance."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import Field, fields
from functools import cache
from pathlib import Path
from typing import Any, ClassVar, Protocol, TypeVar

from transcriber.errors import ModelError

# In a wheel the folder travels inside the package; in an editable install it is the package's sibling.
_PACKAGE = Path(__file__).resolve().parent
_PLACES = (_PACKAGE / "_models", _PACKAGE.parent / "models")


class _Dataclass(Protocol):
    __dataclass_fields__: ClassVar[dict[str, Field[Any]]]


Parameters = TypeVar("Parameters", bound=_Dataclass)


def models_folder() -> Path:
    """Return the folder that holds the model files.

    Raises
    ------
    ModelError
        If neither the wheel's nor the source tree's folder exists.
    """
    for place in _PLACES:
        if (place / "listening.json").is_file():
            return place
    raise ModelError("the folder 'models' is missing from this installation; install the package again")


@cache
def load_model(name: str, format_version: int = 1) -> dict[str, Any]:
    """Read one model file, checked for its format version.

    Parameters
    ----------
    name : str
        Path below `models/` without the suffix, such as ``instruments/standard``.
    format_version : int
        The version that the caller understands.

    Raises
    ------
    ModelError
        If the file is missing, is not JSON, or has another format version.
    """
    path = models_folder() / f"{name}.json"
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise ModelError(f"model file '{name}' is missing; install the package again") from None
    except (OSError, ValueError) as error:
        raise ModelError(f"model file '{name}' cannot be read: {error}; install the package again") from None
    if not isinstance(document, dict) or document.get("format_version") != format_version:
        raise ModelError(f"model file '{name}' is not of format version {format_version}; install again")
    return document


def parameters_of(model: str, values: Mapping[str, Any], kind: type[Parameters]) -> Parameters:
    """Take a dataclass of parameters from a part of a model file.

    Parameters
    ----------
    model : str
        The file's name, as `load_model` takes it.
    values : mapping
        The part that holds the parameters.
    kind : type
        A dataclass whose fields are named as the parameters are.

    Raises
    ------
    ModelError
        If the file lacks a parameter.
    """
    try:
        return kind(**{field.name: values[field.name] for field in fields(kind)})
    except KeyError as missing:
        raise ModelError(
            f"model file '{model}' lacks parameter {missing}; install the package again"
        ) from None


@cache
def models_sha256() -> str:
    """Digest over all model files, by name and content, so that a draft tells what it was made with."""
    digest = hashlib.sha256()
    folder = models_folder()
    for path in sorted(folder.rglob("*.json")):
        digest.update(path.relative_to(folder).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()
