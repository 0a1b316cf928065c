"""Which field of a file means what: as the user says, as in an archive, else by the names people use."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from ..schema import layer as schema_layer
from .dates import read_dates
from .field_words import FILLER, NO_MEANING, OF_TARGET
from .quantity import UNIT_WORDS, read_figures
from .read_values import read_values, read_yes_no
from .source import SourceLayer
from .words import split_words

SAID, ARCHIVE, GUESS = "said", "archive", "guess"

_UNIT_IN_NAME = {word: unit for unit, words in UNIT_WORDS.items() for word in words if word.isalpha()}
_FIGURES = frozenset(
    ("depth", "cover", "invert_up", "invert_down", "x", "y", "lon", "lat", "x_start", "y_start", "x_end", "y_end", "z",
     "invert", "pipe_top", "ground", "elevation")
)  # fmt: skip
# below these shares of the filled rows a name is taken to fit by chance
_LEAST_READ, _LEAST_FILLED, _LEAST_UNIQUE = 0.5, 0.9, 0.95
_DBF_NAME = 10  # a Shapefile cuts names to so many letters


@dataclass(frozen=True)
class Match:
    """A meaning, and where the file says it: `source` is its field, or `constant` a value for every row.

    `unit` is the unit in the field's name, "" where it has none. `how`: "said", "archive" or "guess".
    """

    meaning: str
    source: str = ""
    constant: str = ""
    how: str = GUESS
    unit: str = ""


class FieldMapError(ValueError):
    """A field map names what is not there; the message says what, and what there is."""


def meanings(target: str) -> dict[str, tuple[str, ...]]:
    """Every meaning a field can have in rows of `target`, with the names people use, stronger ones first."""
    known = dict(OF_TARGET[target])
    if target != "points":
        for field in schema_layer(target).fields:
            if field.name not in ("edited_by", "layout_id"):
                known.setdefault(field.name, ())
    return known


def split_unit(name: str) -> tuple[str, str]:
    """A field's name in small words, and the unit in it: 'Depth (ft)' gives 'depth' and 'ft'."""
    words = split_words(re.sub(r"us[-_ ]?(survey[-_ ]?)?(ft|foot|feet)\b", " usft ", name, flags=re.IGNORECASE))
    unit = _UNIT_IN_NAME.get(words[-1], "") if len(words) > 1 else ""
    return " ".join(words[:-1] if unit else words), unit


def has_no_meaning(name: str) -> bool:
    """Whether a field only numbers rows or tells a program how to draw them."""
    return " ".join(split_words(name)) in NO_MEANING or name.lower() in NO_MEANING


def match_fields(
    layer: SourceLayer, target: str, told: Mapping[str, str], values: Mapping[str, Mapping[str, str]] | None = None
) -> tuple[Match, ...]:
    """The meanings of the fields of `layer` as rows of `target` (drains, structures, shots, points).

    `told` gives for a meaning the file's field, or a value in quotes for every row; "" leaves the meaning empty.
    `values` gives for a meaning what entries of the file were said to mean. Raises FieldMapError.
    """
    found = {match.meaning: match for match in _told(layer, target, told)}
    used = {match.source for match in found.values()}
    closed = set(told)
    for meaning, name, how, unit in _candidates(layer, target, values or {}):
        if meaning in closed or name in used:
            continue
        if how == ARCHIVE or _fits(layer, meaning, name):
            found[meaning] = Match(meaning, name, how=how, unit=unit)
            closed.add(meaning)
            used.add(name)
    return tuple(found[meaning] for meaning in meanings(target) if meaning in found)


def _told(layer: SourceLayer, target: str, told: Mapping[str, str]) -> Iterator[Match]:
    known, fields = meanings(target), {name.lower(): name for name in layer.fields}
    for meaning, own in told.items():
        own = own.strip()
        if meaning not in known:
            raise FieldMapError(
                f"The field map has '{meaning}', which is no field of {target}: use one of {', '.join(known)}."
            )
        if own[:1] in ("'", '"') and own[-1:] == own[:1] and len(own) > 1:
            yield Match(meaning, constant=own[1:-1], how=SAID)
        elif own:
            if own.lower() not in fields:
                raise FieldMapError(
                    f"The field map takes '{meaning}' from '{own}', which '{layer.name}' does not have: it has "
                    f"{', '.join(layer.fields) or 'no fields'}. A value for every row stands in quotes."
                )
            name = fields[own.lower()]
            yield Match(meaning, name, how=SAID, unit=split_unit(name)[1])


def _candidates(
    layer: SourceLayer, target: str, values: Mapping[str, Mapping[str, str]]
) -> list[tuple[str, str, str, str]]:
    """(meaning, field, how, unit), the strongest first; for meanings with a list of values the field that says most."""
    ranked = []
    for place, (meaning, names) in enumerate(meanings(target).items()):
        of_meaning = []
        for name in layer.fields:
            rank = _rank(name, meaning, names, target)
            if rank is not None and (rank <= 1 or not (layer.fields_sure or has_no_meaning(name))):
                of_meaning.append((rank, name))
        if _list_of(meaning) and not any(rank == 0 for rank, _ in of_meaning):
            of_meaning = _saying_most(layer, meaning, of_meaning, values.get(meaning))
        ranked += [(rank, place, meaning, name) for rank, name in of_meaning]
    ranked.sort(key=lambda one: one[:2])
    return [(meaning, name, ARCHIVE if rank == 0 else GUESS, split_unit(name)[1]) for rank, _, meaning, name in ranked]


def _rank(name: str, meaning: str, names: tuple[str, ...], target: str) -> int | None:
    """0 for the archive's own name, then the nearer the stronger; None where the name does not mean it."""
    own = target != "points" and any(field.name == meaning for field in schema_layer(target).fields)
    if own and name.lower() == meaning:
        return 0
    if own and len(meaning) > _DBF_NAME and name.lower() in (meaning[:_DBF_NAME], meaning[: _DBF_NAME - 2] + "_1"):
        return 1
    words = split_unit(name)[0].split()
    if own and words and "".join(words) == "".join(split_words(schema_layer(target).field(meaning).alias)):
        return 1
    whole = "".join(words)
    bare = "".join(word for word in words if word not in FILLER)
    known = [one.replace(" ", "") for one in names]
    if whole in known:
        return 2 + known.index(whole)
    return 100 + known.index(bare) if bare in known else None


def _list_of(meaning: str) -> str:
    """The list of values a meaning is read by, "" where it has none."""
    lists = {"role": "role", "status": "drain_status", "material": "material", "openings": "openings",
             "evidence": "evidence", "located_by": "located_by", "kind": "structure_kind", "of": "shot_of"}
    return lists.get(meaning, "")


def _saying_most(
    layer: SourceLayer, meaning: str, ranked: list[tuple[int, str]], told: Mapping[str, str] | None
) -> list[tuple[int, str]]:
    """The field most of whose entries are values of the list; a role needs one, others half of them."""
    shares = [(read_values(_list_of(meaning), layer.values[name], told).share, -rank, name) for rank, name in ranked]
    shares = [one for one in shares if one[0] >= (1e-9 if meaning in ("role", "kind") else _LEAST_READ)]
    if not shares:
        return []
    _, rank, name = max(shares)
    return [(-rank, name)]


def _fits(layer: SourceLayer, meaning: str, name: str) -> bool:
    """Whether what the field holds can be what its name promises."""
    values = layer.values[name]
    filled = int(pd.notna(values).sum())
    if not filled:
        return False
    if meaning in ("drain_id", "structure_id", "shot_id"):
        unique = len(pd.unique(pd.Series(values).dropna()))
        return filled >= _LEAST_FILLED * len(values) and unique >= _LEAST_UNIQUE * filled
    if meaning == "line" and split_unit(name)[0] == "id":  # of lines where points share it, else of the points
        return len(pd.unique(pd.Series(values).dropna())) <= filled / 2
    if meaning in _FIGURES or _kind_of(meaning) in ("real", "integer"):
        # with a decimal sign given, so that figures whose comma could mean two things count as figures
        return int(read_figures(values, ".").known.sum()) >= _LEAST_READ * filled
    if meaning in ("sock", "guard", "perforated"):
        return int((~np.isnan(read_yes_no(values)[0])).sum()) >= _LEAST_READ * filled
    if _kind_of(meaning) == "date":
        read = read_dates(values)
        return read.undecided or int(pd.notna(read.iso).sum()) >= _LEAST_READ * filled or _holds_years(values)
    return True


def _holds_years(values: np.ndarray) -> bool:
    known = read_figures(values).value
    known = known[~np.isnan(known)]
    return bool(len(known) and ((known > 1800) & (known < 2100)).mean() >= _LEAST_READ)


def _kind_of(meaning: str) -> str:
    for target in ("drains", "structures", "shots"):
        for field in schema_layer(target).fields:
            if field.name == meaning:
                return field.kind
    return ""
