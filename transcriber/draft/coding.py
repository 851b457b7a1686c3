"""Records to plain JSON values and back, driven by the records' own fields.

A record becomes an object with its field names as keys, a `Fraction` ``"5/2"``, a `Meter` ``"4/4"``, a tuple
an array. Values of a wrong type are passed through as they are, so that the schema can name them.
"""

from __future__ import annotations

import types
import typing
from collections.abc import Callable, Mapping
from dataclasses import fields, is_dataclass
from fractions import Fraction
from functools import cache
from typing import Any, TypeVar

from transcriber.draft.document import Draft
from transcriber.records.technique import Technique
from transcriber.records.written import Meter

Coder = Callable[[Any], Any]
Record = TypeVar("Record")


def encode(record: Any) -> Any:
    """Turn a record of the draft into plain JSON values (dict, list, str, int, float, bool, None)."""
    kind: Any = type(record)
    return _encoder(kind)(record)


def decode(kind: type[Record], value: Any) -> Record:
    """Build a record from plain JSON values that the schema has accepted.

    Parameters
    ----------
    kind : type
        The record to build, such as `Draft` or `DraftNote`.
    value : dict

    Returns
    -------
    instance of `kind`
    """
    wanted: Any = kind
    return typing.cast(Record, _decoder(wanted)(value))


def decode_draft(document: dict[str, Any]) -> Draft:
    """Build a draft from a document of the current format version that the schema has accepted."""
    return decode(Draft, document)


@cache
def _encoder(kind: Any) -> Coder:
    """Make the function that turns a value of a declared type into JSON."""
    optional, kind = _strip_none(kind)
    inner = _bare_encoder(kind)
    return (lambda value: None if value is None else inner(value)) if optional else inner


def _bare_encoder(kind: Any) -> Coder:
    if kind in _LEAF_ENCODERS:
        return _LEAF_ENCODERS[kind]
    if is_dataclass(kind):
        fielded: Any = kind
        coders = _field_coders(fielded, _encoder)
        return lambda value: {name: coder(getattr(value, name)) for name, coder in coders.items()}
    if typing.get_origin(kind) is tuple:
        item = _encoder(typing.get_args(kind)[0])
        return lambda value: [item(part) for part in value]
    if typing.get_origin(kind) is Mapping:
        return lambda value: {name: _untupled(value[name]) for name in sorted(value)}
    return lambda value: value


def _number(value: Any) -> Any:
    """Write a float as a float even where whole, and zero without a sign, so that reading changes nothing."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value) + 0.0
    return value


def _encode_technique(value: Technique) -> dict[str, Any]:
    """Leave out the fields that the kind does not use."""
    coders = _field_coders(Technique, _encoder)
    coded = {name: coder(getattr(value, name)) for name, coder in coders.items()}
    if not coded["optional"]:
        del coded["optional"]
    return {name: part for name, part in coded.items() if part is not None}


def _rational(value: Any) -> Any:
    return str(Fraction(value)) if isinstance(value, Fraction | int) else value


def _meter(value: Any) -> Any:
    return str(value) if isinstance(value, Meter) else value


_LEAF_ENCODERS: dict[Any, Coder] = {
    float: _number,
    Fraction: _rational,
    Meter: _meter,
    Technique: _encode_technique,
}


@cache
def _decoder(kind: Any) -> Coder:
    """Make the function that turns accepted JSON into a value of a declared type."""
    optional, kind = _strip_none(kind)
    inner = _bare_decoder(kind)
    return (lambda value: None if value is None else inner(value)) if optional else inner


def _bare_decoder(kind: Any) -> Coder:
    if kind in (float, int, Fraction):
        return typing.cast(Coder, kind)
    if kind is Meter:
        return lambda value: Meter(*(int(part) for part in value.split("/")))
    if is_dataclass(kind):
        make: Any = kind
        coders = _field_coders(make, _decoder)
        return lambda value: make(**{name: coders[name](part) for name, part in value.items()})
    if typing.get_origin(kind) is tuple:
        item = _decoder(typing.get_args(kind)[0])
        return lambda value: tuple([item(part) for part in value])
    if typing.get_origin(kind) is Mapping:
        return lambda value: {name: _tupled(part) for name, part in value.items()}
    return lambda value: value


@cache
def _field_coders(kind: Any, maker: Callable[[Any], Coder]) -> dict[str, Coder]:
    hints = typing.get_type_hints(kind)
    return {field.name: maker(hints[field.name]) for field in fields(kind)}


def _strip_none(kind: Any) -> tuple[bool, Any]:
    """Split ``X | None`` into (True, X)."""
    if typing.get_origin(kind) in (types.UnionType, typing.Union):
        rest = [part for part in typing.get_args(kind) if part is not type(None)]
        if len(rest) == 1:
            return True, rest[0]
    return False, kind


def _untupled(value: Any) -> Any:
    return list(value) if isinstance(value, tuple) else value


def _tupled(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value
