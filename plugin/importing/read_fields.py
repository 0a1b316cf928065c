"""From the columns of a file to the fields of an archive, in the units figures come out in; what is not read is "
"kept."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from ..schema import layer as schema_layer
from .dates import read_dates
from .guess_fields import Match, has_no_meaning
from .issues import Question
from .quantity import Figures, read_figures
from .read_values import ReadWord, Values, read_values, read_yes_no
from .setting import Setting, UnitTaken
from .source import SourceLayer

LISTS = {"role": "role", "status": "drain_status", "material": "material", "openings": "openings",
         "evidence": "evidence", "located_by": "located_by", "kind": "structure_kind", "of": "shot_of"}  # fmt: skip
_ELEVATIONS = frozenset(
    ("invert_start", "invert_end", "invert_up", "invert_down", "invert", "rim", "water_level", "bed_level", "elevation",
     "z", "pipe_top", "ground")
)  # fmt: skip
_HEIGHT_ERRORS = frozenset(("invert_error", "error"))
_LENGTHS = frozenset(("depth", "cover"))
# figures for which 0 means that nobody knew
_NEVER_ZERO = frozenset(
    ("diameter", "spacing", "depth", "depth_start", "depth_end", "position_error", "invert_error", "error")
)  # fmt: skip
_ROUND = 6


@dataclass(frozen=True)
class FieldRead:
    """How one field of the file was taken, for people: `unit` with `unit_how` ("" where it has none)."""

    layer: str
    match: Match
    filled: int
    unread: int
    example: str
    unit: str = ""
    unit_how: str = ""


@dataclass
class Columns:
    """Fields of the archive (and meanings that are still to be put to them) by row of the file.

    `kept` marks, by field of the file, rows whose own entry is to be kept in the note; `size` are sizes found in
    entries for the role; `words` how entries of lists were read, by meaning.
    """

    layer: SourceLayer
    values: dict[str, np.ndarray] = field(default_factory=dict)
    kept: dict[str, np.ndarray] = field(default_factory=dict)
    doubtful: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=bool))
    size: np.ndarray | None = None
    words: dict[str, tuple[ReadWord, ...]] = field(default_factory=dict)
    fields: list[FieldRead] = field(default_factory=list)

    def keep(self, source: str, rows: np.ndarray) -> None:
        """Have the file's entries of a field kept in the note, for the rows of a mask."""
        if source and rows.any():
            self.kept[source] = self.kept.get(source, np.zeros(len(self.layer), dtype=bool)) | rows

    def known(self, meaning: str) -> np.ndarray:
        """Which rows have a value."""
        return pd.notna(self.values[meaning]) if meaning in self.values else np.zeros(len(self.layer), dtype=bool)


def read_fields(layer: SourceLayer, target: str, matches: tuple[Match, ...], setting: Setting) -> Columns:
    """Read every matched field; fields that mean nothing known are kept whole."""
    columns = Columns(layer, doubtful=np.zeros(len(layer), dtype=bool))
    for match in matches:
        _read(columns, target, match, setting)
    used = {match.source for match in matches}
    for name, values in layer.values.items():
        if name not in used and not has_no_meaning(name):
            columns.keep(name, pd.notna(values) & (values != ""))
    return columns


def _read(columns: Columns, target: str, match: Match, setting: Setting) -> None:
    layer = columns.layer
    values = layer.values[match.source] if match.source else np.full(len(layer), match.constant, dtype=object)
    kind = kind_of(target, match.meaning)
    if match.meaning in LISTS:
        unread = _read_list(columns, match, values, setting)
        taken = None
    elif kind in ("real", "integer"):
        unread, taken = _read_figure(columns, target, match, values, setting)
    elif kind == "boolean":
        columns.values[match.meaning], unread = read_yes_no(values)
        _tell(columns, match, "value-unread", values, unread, setting)
        taken = None
    elif kind == "date":
        unread, taken = _read_date(columns, match, values, setting), None
    else:
        columns.values[match.meaning] = as_text(values)
        unread, taken = np.zeros(len(layer), dtype=bool), None
    filled = pd.notna(values) & (values != "")
    first = example(values[filled])
    unit, how = (taken.unit, taken.how) if taken else ("", "")
    columns.fields.append(
        FieldRead(layer.name, match, int(filled.sum()), int(unread.sum()), first, unit, how)
    )


def example(values: np.ndarray) -> str:
    """The first entry of a column, short."""
    if not len(values):
        return ""
    if values.dtype.kind == "f":
        return f"{values[0]:.10g}"
    return str(values[0])[:40]


def kind_of(target: str, meaning: str) -> str:
    """Kind of a field; meanings that become several fields are figures, but perforated is yes or no."""
    if meaning in ("perforated",):
        return "boolean"
    if meaning in _ELEVATIONS or meaning in _LENGTHS:
        return "real"
    return next((one.kind for one in schema_layer(target).fields if one.name == meaning), "text")


def _tell(
    columns: Columns, match: Match, kind: str, values: np.ndarray, rows: np.ndarray, setting: Setting
) -> None:
    """Report entries that were not read and have them kept."""
    where = np.flatnonzero(rows)
    entries = [f"{match.source or match.meaning}: '{str(value)[:40]}'" for value in values[where]]
    setting.issues.add(kind, columns.layer, where, np.array(entries, dtype=object))
    columns.keep(match.source, rows)


def _read_list(columns: Columns, match: Match, values: np.ndarray, setting: Setting) -> np.ndarray:
    read: Values = read_values(LISTS[match.meaning], values, setting.answers.values.get(match.meaning))
    columns.values[match.meaning] = read.value
    columns.words[match.meaning] = read.words
    if match.meaning == "role":
        columns.size = read.size
    if match.meaning in ("role", "kind"):  # without it the row is asked about or left out
        columns.keep(match.source, read.unread)
    else:
        _tell(columns, match, "value-unread", values, read.unread, setting)
    columns.keep(match.source, read.guessed)
    return read.unread


def _read_figure(
    columns: Columns, target: str, match: Match, values: np.ndarray, setting: Setting
) -> tuple[np.ndarray, UnitTaken | None]:
    read = read_figures(values)
    unread = read.unread
    zero = zeros_unknown(match.meaning, read.value)
    read.value[zero] = np.nan
    drop_minus(match, read.value, setting)
    kind = unit_kind(target, match.meaning)
    figures, taken = in_units(read, kind, match, setting)
    columns.values[match.meaning] = figures
    _tell(columns, match, "figure-unread", values, unread, setting)
    setting.issues.add("zero-unknown", columns.layer, np.flatnonzero(zero), f"{match.source or match.meaning}")
    columns.keep(match.source, read.rest != "")
    impossible = _impossible(target, match.meaning, figures)
    _tell(columns, match, "no-such-figure", values, impossible, setting)
    figures[impossible] = np.nan
    if match.meaning in _ELEVATIONS and (~np.isnan(figures)).any():
        setting.ask_about_datum()
    _believe(columns, match, figures, setting)
    return unread, taken


def unit_kind(target: str, meaning: str) -> str:
    """length, diameter, elevation, flow or "" for a plain number."""
    if meaning in _ELEVATIONS or meaning in _HEIGHT_ERRORS:
        return "elevation"
    if meaning in _LENGTHS:
        return "length"
    return next((one.unit for one in schema_layer(target).fields if one.name == meaning), "")


def in_units(read: Figures, kind: str, match: Match, setting: Setting) -> tuple[np.ndarray, UnitTaken | None]:
    """Figures in the unit they come out in: by the unit written beside each, else by that of the column."""
    figures = read.value.copy()
    if not kind:
        return figures, None
    if kind == "flow":
        return figures, UnitTaken(setting.units.flow_name, "archive form" if setting.file_units else "guess")
    plain = read.known & (read.unit == "")
    taken = None
    if plain.any():
        guess = _guess(kind, match.meaning, figures[plain], setting)
        taken = setting.unit_of(kind, match.unit, guess, match.source or match.meaning)
        figures[plain] = _scaled(figures[plain], setting.factor(taken.unit, kind))
    for unit in pd.unique(pd.Series(read.unit[read.known & ~plain], dtype=object)):
        rows = read.known & (read.unit == unit)
        figures[rows] = _scaled(figures[rows], setting.factor(unit, kind))
    if taken is None and read.known.any():
        written = pd.unique(pd.Series(read.unit[read.known], dtype=object))
        taken = UnitTaken(", ".join(written), "written beside")
    return figures, taken


def _scaled(figures: np.ndarray, factor: float) -> np.ndarray:
    """Converted figures without the dust of the division; those that need none stay as they are to the bit."""
    return figures if factor == 1.0 else np.round(figures * factor, _ROUND)


def _guess(kind: str, meaning: str, figures: np.ndarray, setting: Setting) -> str:
    """The unit a column of drain figures looks like; asked about all the same."""
    middle = float(np.median(np.abs(figures)))
    if kind == "diameter":
        return "in" if middle < 40 else "mm"
    if meaning.startswith(("depth", "cover")):
        return "ft" if middle > 1.9 else "m"
    return setting.units.length_name


def zeros_unknown(meaning: str, figures: np.ndarray) -> np.ndarray:
    """Zeros that stand for unknown: always in a size, in elevations where the others lie well above it."""
    zero = figures == 0
    if meaning in _NEVER_ZERO or not zero.any():
        return zero if meaning in _NEVER_ZERO else np.zeros(len(figures), dtype=bool)
    others = figures[~zero & ~np.isnan(figures)]
    far = meaning in _ELEVATIONS and (not len(others) or float(np.median(np.abs(others))) > 5)
    return zero if far else np.zeros(len(figures), dtype=bool)


def drop_minus(match: Match, figures: np.ndarray, setting: Setting) -> None:
    """Depths that all count downward from the ground as minus: the sign is dropped and that is said."""
    if match.meaning.startswith(("depth", "cover")) and (figures < 0).any() and not (figures > 0).any():
        figures *= -1
        setting.issues.say(f"All depths in {match.source or match.meaning} are below 0: they were taken as downward.")


def _impossible(target: str, meaning: str, figures: np.ndarray) -> np.ndarray:
    """Figures below the bound the archive's own rules set."""
    name = {"depth": "depth_start", "cover": "depth_start"}.get(meaning, meaning)
    field = next((one for one in schema_layer(target).fields if one.name == name), None)
    if field is None or field.least is None:
        return np.zeros(len(figures), dtype=bool)
    with np.errstate(invalid="ignore"):
        return figures <= field.least if field.above else figures < field.least


def _believe(columns: Columns, match: Match, figures: np.ndarray, setting: Setting) -> None:
    """Mark figures no drain has; they come in as doubtful, in the unit that was taken."""
    limits, units, name = setting.limits, setting.units, match.meaning
    least, most = 0.0, limits["implausible_depth"]
    if name in ("diameter", "spacing"):
        least, most = limits[f"believed_{name}_least"], limits[f"believed_{name}_most"]
    elif not name.startswith("depth") and name != "cover":
        return
    kind = "diameter" if name == "diameter" else "length"
    size_m = figures * units.size_si(kind)
    with np.errstate(invalid="ignore"):
        odd = np.flatnonzero((size_m < least) | (size_m > most))
    told = [f"{match.source or name}: {figures[row]:,.6g} {units.name(kind)}" for row in odd]
    setting.issues.add("hard-to-believe", columns.layer, odd, np.array(told, dtype=object))
    columns.doubtful[odd] = True


def _read_date(columns: Columns, match: Match, values: np.ndarray, setting: Setting) -> np.ndarray:
    read = read_dates(values, setting.answers.date_order)
    if read.undecided:
        setting.issues.ask(Question(
            "DATE_ORDER", f"Is 3/4/2020 in {match.source} the 4th of March or the 3rd of April? The file does not "
            "show it.",
            "DATE_ORDER", "no day; the entries are kept in the note",
        ))
    columns.values[match.meaning] = read.iso
    _tell(columns, match, "date-unread", values, read.unread, setting)
    return read.unread


def as_text(values: np.ndarray) -> np.ndarray:
    """Words as they stand, whole numbers without a point; None where empty."""
    if values.dtype.kind == "f":
        return np.array(
            [None if v != v else str(int(v)) if v.is_integer() and abs(v) < 1e15 else repr(v) for v in values.tolist()],
            dtype=object,
        )
    return np.array([None if v is None or v != v or not str(v).strip() else str(v).strip() for v in values],
                    dtype=object)

