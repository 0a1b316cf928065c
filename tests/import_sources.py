"""Made-up sources of layouts for tests: a table of columns and shapes as a file would hold them."""

from __future__ import annotations

import numpy as np
import shapely
from fallkeeper.plugin.importing.source import Source, SourceLayer


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
