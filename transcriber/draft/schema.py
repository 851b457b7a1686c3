"""Checking plain JSON values against the shipped JSON Schema, with errors of one line.

The schemas are `draft.schema.json` and `correction.schema.json` (JSON Schema 2020-12) in this folder. Three
things go beyond the plain library: numbers must be finite and text must be encodable (JSON as Python reads it
lets NaN and half surrogates pass), a line break behind a name is no part of it, and long arrays of plain
numbers are checked in one pass, as contours are long.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from functools import cache
from importlib import resources
from typing import Any

from transcriber.errors import DraftError

_SHOWN = 60
_WORDS = {
    "minimum": "it must be at least {}",
    "maximum": "it must be at most {}",
    "minLength": "it needs at least {} character",
    "maxLength": "it may have at most {} characters",
    "minItems": "it needs at least {} item",
    "maxItems": "it may have at most {} items",
    "const": "it must be {}",
    "enum": "it must be one of {}",
    "type": "it must be {}",
    "pattern": "it must match {}",
}


def draft_schema() -> dict[str, Any]:
    """Return the JSON Schema of the draft document as shipped."""
    return _read_schema("draft")


def correction_schema() -> dict[str, Any]:
    """Return the JSON Schema of one line of the journal as shipped."""
    return _read_schema("correction")


def _read_schema(name: str) -> dict[str, Any]:
    text = resources.files("transcriber.draft").joinpath(f"{name}.schema.json").read_text(encoding="utf-8")
    schema: dict[str, Any] = json.loads(text)
    return schema


def check_document(document: Any, name: str, part: str | None = None) -> None:
    """Check plain JSON values against the schema.

    Parameters
    ----------
    document : object
        As `json.loads` gives it.
    name : str
        What to call the document in an error, such as its file name.
    part : str, optional
        Name of a definition (``"note"``, ``"technique"``) to check a part alone, or ``"correction"`` for a
        line of the journal and ``"mark"`` for how it names a note.

    Raises
    ------
    DraftError
        One line with the JSON path, the value and the bound.
    """
    if part is None and _passes(document):
        return
    error = next(_validator(part).iter_errors(document), None)
    if error is not None:
        raise DraftError(f"{name}: {_explain(error)}")


def _passes(document: Any) -> bool:
    """Tell quickly that a document is right; if it is not, the slow check says where and why.

    The schema compiled to Python checks a long draft ten times as fast. Writing the document as strict JSON
    finds what it lets pass: numbers that are not finite and text that cannot be encoded.
    """
    import fastjsonschema

    try:
        _compiled()(document)
        json.dumps(document, allow_nan=False, ensure_ascii=False).encode("utf-8")
    except (fastjsonschema.JsonSchemaException, TypeError, ValueError, RecursionError):
        return False
    return True


@cache
def _compiled() -> Any:
    import fastjsonschema

    return fastjsonschema.compile(draft_schema())


@cache
def _validator(part: str | None) -> Any:
    from jsonschema import Draft202012Validator, validators

    types = Draft202012Validator.TYPE_CHECKER.redefine_many({"number": _is_number, "string": _is_text})
    kind: Any = validators.extend(  # type: ignore[no-untyped-call]
        Draft202012Validator, {"items": _check_items, "pattern": _check_pattern}, type_checker=types
    )
    schema = correction_schema() if part in ("correction", "mark") else draft_schema()
    definitions = schema.pop("$defs", {})
    wanted = schema if part in (None, "correction") else definitions[part]
    return kind(_inlined(wanted, definitions))


def _inlined(schema: Any, definitions: dict[str, Any]) -> Any:
    """Put definitions in place of the references to them: following references takes most of the time."""
    if isinstance(schema, list):
        return [_inlined(part, definitions) for part in schema]
    if not isinstance(schema, dict):
        return schema
    parts = {key: _inlined(part, definitions) for key, part in schema.items() if key != "$ref"}
    if "$ref" in schema:
        parts.update(_inlined(definitions[schema["$ref"].removeprefix("#/$defs/")], definitions))
    return parts


def _is_number(_checker: Any, value: Any) -> bool:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return False
    return isinstance(value, int) or math.isfinite(value)


def _is_text(_checker: Any, value: Any) -> bool:
    if not isinstance(value, str):
        return False
    try:
        value.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


def _check_pattern(validator: Any, pattern: str, instance: Any, schema: Any) -> Iterator[Any]:
    """Hold text against a pattern whose ``$`` is its very end, where Python's lets a line break follow."""
    from jsonschema import Draft202012Validator

    strict = f"{pattern[:-1]}\\Z" if pattern.endswith("$") else pattern
    yield from Draft202012Validator.VALIDATORS["pattern"](validator, strict, instance, schema)


def _check_items(validator: Any, items: Any, instance: Any, schema: Any) -> Iterator[Any]:
    from jsonschema import Draft202012Validator

    if isinstance(instance, list) and not _all_within(items, instance):
        yield from Draft202012Validator.VALIDATORS["items"](validator, items, instance, schema)


def _all_within(items: dict[str, Any], values: list[Any]) -> bool:
    """Tell at once whether all values are plain numbers within the bounds; if not sure, say no."""
    if set(items) != {"type", "minimum", "maximum"}:
        return False
    null = items["type"] == ["number", "null"]
    if not null and items["type"] != "number":
        return False
    low, high = items["minimum"], items["maximum"]
    for value in values:
        # NaN fails both comparisons.
        if not (low <= value <= high if type(value) in (float, int) else null and value is None):
            return False
    return True


def _explain(error: Any) -> str:
    path, rule, bound = error.json_path, error.validator, error.validator_value
    if rule == "required":
        missing = next(key for key in bound if key not in error.instance)
        return f"{path} lacks the key '{missing}'"
    if rule == "additionalProperties":
        known = error.schema.get("properties", {})
        extra = next(key for key in error.instance if key not in known)
        return f"{path} has the key {show_value(extra)}, which this format does not know"
    if rule == "anyOf":
        # Of several forms the value is held against the one whose type it has.
        near = next((each for each in error.context if each.validator != "type"), None)
        if near is not None:
            return _explain(near)
        rule, bound = "type", [each.validator_value for each in error.context]
    if rule == "type" and isinstance(error.instance, float) and not math.isfinite(error.instance):
        bound = "a finite number"
    if isinstance(bound, list):
        bound = ", ".join(str(part) for part in bound)
    return f"{path} is {show_value(error.instance)}; {_WORDS[rule].format(bound)}"


def show_value(value: Any) -> str:
    """Show a JSON value in an error: as JSON, on one line and cut short."""
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return f"an array of {len(value)}"
    try:
        shown = json.dumps(value)
    except (TypeError, ValueError):
        shown = f"a {type(value).__name__}"
    return shown if len(shown) <= _SHOWN else shown[:_SHOWN] + "..."
