"""What the user says about a file: which field means what, units, where it lies, how good it is. Empty is not said."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace

from ..schema.values import VALUE_LISTS
from .field_words import OF_TARGET
from .guess_fields import FieldMapError, meanings

NAN = float("nan")

LENGTH_UNITS = ("ft", "us-ft", "m", "cm", "mm", "in")
DIAMETER_UNITS = ("in", "mm", "cm", "ft", "m")
HEIGHTS = ("invert", "pipe_top", "ground", "none")
POINTS = ("lines", "structures", "shots", "none")
DRAWN = ("downstream", "upstream")
DATE_ORDERS = ("mdy", "dmy")
SWAP_AXES = ("yes", "no")

# meanings of words in a value map that are no field of drains or structures
_LIST_OF = {"role": "role", "status": "drain_status", "material": "material", "openings": "openings",
            "evidence": "evidence", "located_by": "located_by", "kind": "structure_kind", "of": "shot_of"}  # fmt: skip


@dataclass(frozen=True)
class Answers:
    """What was said. Lengths in metres and seconds; NaN, "" and empty maps are not said.

    `fields`: layer of the archive ("" for any) -> meaning -> field of the file, or a value in quotes for every row.
    `values`: meaning (role, material, ...) -> entry of the file -> value of the archive's list.
    `heights`: what heights of the drawn line or of a column called elevation are of. `points`: what points without a
    kind are. `drawn`: which way lines are drawn. `role`, `located_by`: what holds where the file says nothing.
    `coordinate_unit`: the unit the file's coordinates count in, where it is not that of the CRS. `swap_axes`: "yes"
    where x and y stand the wrong way round.
    """

    fields: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    values: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    length_unit: str = ""
    diameter_unit: str = ""
    elevation_unit: str = ""
    vertical_datum: str = ""
    crs: str = ""
    coordinate_unit: str = ""
    swap_axes: str = ""
    heights: str = ""
    points: str = ""
    drawn: str = ""
    date_order: str = ""
    encoding: str = ""
    role: str = ""
    located_by: str = ""
    made_by: str = ""
    made_on: str = ""
    source_kind: str = ""
    position_error_m: float = NAN
    height_error_m: float = NAN
    gap_distance_m: float = NAN
    gap_time_s: float = NAN

    def over(self, below: Answers) -> Answers:
        """These answers, and those of `below` where nothing is said here; maps are joined entry by entry."""
        changed = {}
        for own in fields(self):
            mine, other = getattr(self, own.name), getattr(below, own.name)
            if isinstance(mine, Mapping):
                changed[own.name] = {
                    key: {**other.get(key, {}), **mine.get(key, {})} for key in dict.fromkeys([*other, *mine])
                }
            elif mine == "" or mine != mine:
                changed[own.name] = other
        return replace(self, **changed)

    def fields_of(self, target: str) -> dict[str, str]:
        """Meaning -> field, for rows of `target`; what is said of a layer comes before what is said of any."""
        known = meanings(target)
        of_any = {meaning: own for meaning, own in self.fields.get("", {}).items() if meaning in known}
        return {**of_any, **self.fields.get(target, {})}


def parse_field_map(text: str) -> dict[str, dict[str, str]]:
    """'diameter = SIZE; structures.kind = TYPE; status = "in_ground"' as layer -> meaning -> field.

    Entries stand on lines of their own or apart by semicolons. Raises FieldMapError.
    """
    found: dict[str, dict[str, str]] = {}
    for entry in _entries(text):
        meaning, sign, own = entry.partition("=")
        if not sign:
            raise FieldMapError(
                f"The field map has '{entry}' without an equals sign: write for instance diameter = SIZE."
            )
        target, _, name = meaning.strip().rpartition(".")
        check_meaning(target, name)
        found.setdefault(target, {})[name] = own.strip()
    return found


def check_meaning(target: str, meaning: str) -> None:
    """FieldMapError unless `meaning` is one of rows of `target` ("" for any)."""
    if target and target not in OF_TARGET:
        raise FieldMapError(f"The field map has the layer '{target}': use one of {', '.join(OF_TARGET)}.")
    if not any(meaning in meanings(one) for one in ([target] if target else OF_TARGET)):
        known = meanings(target) if target else meanings("drains")
        raise FieldMapError(f"The field map has '{meaning}', which has no meaning here: use one of {', '.join(known)}.")


def parse_value_map(text: str) -> dict[str, dict[str, str]]:
    """'role: T1 = lateral; role: T2 = main' as meaning -> entry -> value. Raises FieldMapError."""
    found: dict[str, dict[str, str]] = {}
    for entry in _entries(text):
        meaning, colon, rest = entry.partition(":")
        own, sign, value = rest.rpartition("=")
        if not colon or not sign:
            raise FieldMapError(f"The value map has '{entry}': write for instance role: T1 = lateral.")
        check_value(meaning.strip(), value.strip())
        found.setdefault(meaning.strip(), {})[own.strip()] = value.strip()
    return found


def check_value(meaning: str, value: str) -> None:
    """FieldMapError unless `value` stands in the list of `meaning`; an empty one says that the entry means nothing."""
    if meaning not in _LIST_OF:
        raise FieldMapError(f"The value map has '{meaning}', which has no list: use one of {', '.join(_LIST_OF)}.")
    known = VALUE_LISTS[_LIST_OF[meaning]]
    if value and value not in known:
        raise FieldMapError(
            f"The value map has {meaning} '{value}', which is not known: use one of {', '.join(known)}."
        )


def _entries(text: str) -> list[str]:
    return [entry.strip() for entry in re.split(r"[;\n]", text) if entry.strip()]
