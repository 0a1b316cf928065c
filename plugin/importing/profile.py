"""Import profiles: what was said about one file, kept as a JSON file for the next of the same kind."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass

from ..schema.values import VALUE_LISTS
from .answers import (
    DATE_ORDERS,
    DIAMETER_UNITS,
    DRAWN,
    HEIGHTS,
    LENGTH_UNITS,
    POINTS,
    SWAP_AXES,
    Answers,
    check_meaning,
    check_value,
)
from .guess_fields import FieldMapError

VERSION_KEY = "fallkeeper_import_profile"
VERSION = 1

# key of the file -> attribute of Answers, by the part of the file it stands in
_WORDS = {"vertical_datum": "vertical_datum", "crs": "crs", "encoding": "encoding", "made_by": "made_by",
          "source_kind": "source_kind"}  # fmt: skip
_CHOICES = {
    "heights": HEIGHTS, "points": POINTS, "drawn": DRAWN, "date_order": DATE_ORDERS, "role": tuple(VALUE_LISTS["role"]),
    "located_by": tuple(VALUE_LISTS["located_by"]), "coordinate_unit": LENGTH_UNITS, "swap_axes": SWAP_AXES,
}  # fmt: skip
_UNITS = {"length": ("length_unit", LENGTH_UNITS), "diameter": ("diameter_unit", DIAMETER_UNITS),
          "elevation": ("elevation_unit", LENGTH_UNITS)}  # fmt: skip
_FIGURES = {"position_error_m": "position_error_m", "height_error_m": "height_error_m"}
_GAPS = {"distance_m": "gap_distance_m", "time_s": "gap_time_s"}
_OTHER = (VERSION_KEY, "name", "fields", "values", "units", "gaps")


class ProfileError(ValueError):
    """A profile cannot be used; the message says why and what to do."""


@dataclass(frozen=True)
class Profile:
    """What a profile says, and sentences about what of it was not understood."""

    name: str
    answers: Answers
    said: tuple[str, ...] = ()


def dump_profile(answers: Answers, name: str) -> str:
    """The text of a profile. `made_on` is not kept: it belongs to one file alone."""
    kept: dict[str, object] = {VERSION_KEY: VERSION, "name": name}
    kept["fields"] = {target: dict(own) for target, own in answers.fields.items() if own}
    kept["values"] = {meaning: dict(own) for meaning, own in answers.values.items() if own}
    kept["units"] = {key: getattr(answers, own) for key, (own, _) in _UNITS.items() if getattr(answers, own)}
    kept["gaps"] = {key: getattr(answers, own) for key, own in _GAPS.items() if _is_said(getattr(answers, own))}
    for key, own in {**_WORDS, **dict(zip(_CHOICES, _CHOICES)), **_FIGURES}.items():
        if _is_said(getattr(answers, own)):
            kept[key] = getattr(answers, own)
    return json.dumps({key: value for key, value in kept.items() if value != {}}, indent=2, ensure_ascii=False) + "\n"


def load_profile(text: str, where: str) -> Profile:
    """A profile from its text; `where` is the file people know it by. Raises ProfileError.

    What this version does not know is left out and said: a profile of a newer version still serves.
    """
    try:
        held = json.loads(text)
    except ValueError as fault:
        raise ProfileError(
            f"The import profile {where} is no JSON ({fault}): save it anew or choose another."
        ) from None
    if not isinstance(held, dict) or VERSION_KEY not in held:
        raise ProfileError(
            f"The file {where} is no import profile of Fallkeeper: it does not say '{VERSION_KEY}'. Choose another."
        )
    said = []
    version = held[VERSION_KEY]
    if not isinstance(version, int) or isinstance(version, bool) or version < 1:
        raise ProfileError(
            f"The import profile {where} has the version '{version}', which is no whole number from 1 on."
        )
    if version > VERSION:
        said.append(
            f"The import profile {where} is of version {version}, this plugin knows version {VERSION}: what it does "
            "not "
            "know is left out. Check the dry run, or bring the plugin up to date."
        )
    known = {*_OTHER, *_WORDS, *_CHOICES, *_FIGURES}
    unknown = [key for key in held if key not in known]
    said += [_unknown(where, key) for key in unknown]
    try:
        return Profile(str(held.get("name") or ""), _answers(held, where, said), tuple(said))
    except FieldMapError as fault:
        raise ProfileError(f"In the import profile {where}: {fault}") from None


def _unknown(where: str, key: str) -> str:
    return f"The import profile {where} says '{key}', which is not known here: it is left out."


def _answers(held: Mapping[str, object], where: str, said: list[str]) -> Answers:
    found: dict[str, object] = {own: _text(held, key, where) for key, own in _WORDS.items()}
    for key, choices in _CHOICES.items():
        found[key] = _choice(held, key, choices, where)
    units = _object(held, "units", where)
    for key, (own, choices) in _UNITS.items():
        found[own] = _choice(units, key, choices, where)
    gaps = _object(held, "gaps", where)
    said += [_unknown(where, f"units.{key}") for key in units if key not in _UNITS]
    said += [_unknown(where, f"gaps.{key}") for key in gaps if key not in _GAPS]
    for part, keys in ((held, _FIGURES), (gaps, _GAPS)):
        for key, own in keys.items():
            found[own] = _figure(part, key, where)
    fields = {target: _map(_object(held, "fields", where), target, where) for target in _object(held, "fields", where)}
    values = {meaning: _map(_object(held, "values", where), meaning, where) for meaning in _object(held, "values",
                                                                                                   where)}
    for target, own in fields.items():
        for meaning in own:
            check_meaning(target, meaning)
    for meaning, own in values.items():
        for value in own.values():
            check_value(meaning, value)
    return Answers(fields=fields, values=values, **found)  # type: ignore[arg-type]


def _object(held: Mapping[str, object], key: str, where: str) -> Mapping[str, object]:
    value = held.get(key) or {}
    if not isinstance(value, dict):
        raise ProfileError(f"The import profile {where} has '{key}' that is no list of names and values: correct it.")
    return value


def _map(held: Mapping[str, object], key: str, where: str) -> dict[str, str]:
    return {str(name): "" if own is None else str(own) for name, own in _object(held, key, where).items()}


def _text(held: Mapping[str, object], key: str, where: str) -> str:
    value = held.get(key)
    if value is not None and not isinstance(value, str):
        raise ProfileError(f"The import profile {where} has for '{key}' the value {value!r}: write it in quotes.")
    return value or ""


def _choice(held: Mapping[str, object], key: str, choices: tuple[str, ...], where: str) -> str:
    value = _text(held, key, where)
    if value and value not in choices:
        raise ProfileError(
            f"The import profile {where} has for '{key}' the value '{value}': use one of {', '.join(choices)}."
        )
    return value


def _figure(held: Mapping[str, object], key: str, where: str) -> float:
    value = held.get(key)
    if value is None:
        return float("nan")
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not value >= 0:
        raise ProfileError(
            f"The import profile {where} has for '{key}' the value {value!r}: write a number, 0 or more."
        )
    return float(value)


def _is_said(value: object) -> bool:
    return value == value and value not in ("", None)
