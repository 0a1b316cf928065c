"""Made-up sources of layouts for tests: a table of columns and shapes as a file would hold them."""

from __future__ import annotations

import datetime

import numpy as np
import pandas as pd
import shapely
from fallkeeper.plugin.importing.answers import Answers
from fallkeeper.plugin.importing.issues import Issues
from fallkeeper.plugin.importing.places import Whereabouts
from fallkeeper.plugin.importing.plan import make_plan
from fallkeeper.plugin.importing.setting import Setting
from fallkeeper.plugin.importing.source import Source, SourceLayer
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.units import FOOT_M, US, Units


def column(values):
    """Figures with NaN where all known values are numbers, else text with None."""
    if all(v is None or isinstance(v, (int, float)) for v in values) and any(v is not None for v in values):
        return np.array([np.nan if v is None else float(v) for v in values])
    return np.array([None if v is None else str(v) for v in values], dtype=object)


def source_layer(called="lines", shapes=None, rows=None, row_word="row", crs="", fields_sure=False, **columns):
    """A layer; without shapes it is a table."""
    values = {field: column(list(entries)) for field, entries in columns.items()}
    count = len(next(iter(values.values()))) if values else len(shapes)
    made = np.full(count, None, dtype=object)
    if shapes is not None:
        for k, shape in enumerate(shapes):
            made[k] = shapely.from_wkt(shape) if isinstance(shape, str) else shape
    numbers = np.arange(1, count + 1) if rows is None else np.asarray(rows)
    return SourceLayer(called, values, made, numbers, row_word, crs, fields_sure)


def lines(*runs):
    return [shapely.LineString(run) for run in runs]


def source(*layers, format="Shapefile", **more):  # noqa: A002 (the engine's own name)
    return Source("layout.shp", format, tuple(layers), **more)


def plan_of(*layers, where=None, units=None, plan_m=None, file_units="", file_datum="", archive_datum="", **said):
    """A plan in us units over a plan in feet, unless told otherwise."""
    units = units or Units(US, FOOT_M)
    plan_m = plan_m or units.length_m
    setting = Setting(Answers(**said), units, plan_m, Limits(), Issues(), file_units, file_datum, archive_datum)
    return make_plan(source(*layers), where or [Whereabouts()] * len(layers), setting, datetime.date(2024, 5, 6))


def taken(plan, target="drains"):
    """Rows of a layer of the archive as dicts with WKT, by key where there is one."""
    rows = []
    for draft in plan.rows_for(target):
        for k in range(len(draft)):
            row = {name: values[k] for name, values in draft.values.items() if not pd.isna(values[k])}
            rows.append({**row, "wkt": shapely.to_wkt(draft.shapes[k], trim=True), "doubtful": bool(draft.doubtful[k])})
    return rows


def told(plan):
    """Kind of fault -> numbers of the rows."""
    found = {}
    for issue in plan.issues:
        found.setdefault(issue.kind.id, []).extend(issue.number.tolist())
    return found


def asked(plan):
    return sorted(question.parameter.split()[0].strip(",") for question in plan.questions)
