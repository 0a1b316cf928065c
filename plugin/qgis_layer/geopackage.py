"""Rows in bulk into a new GeoPackage: one transaction of SQLite, several times as fast as feature by feature.

QGIS makes the file with its one empty layer, fields, CRS and spatial index; here it gets its rows, the packed index,
its extent and the number of rows. What QGIS's triggers would do row by row is done at once.
Source of tables and geometry: OGC 12-128r19, GeoPackage 1.4, sections 1.1.3, 2.1.3, annexes C and F.3; the number of
rows stands in gpkg_ogr_contents, an addition of GDAL.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing
from itertools import chain, islice
from pathlib import Path

import numpy as np
import shapely

from .rows import Rows, in_units
from .spatial_index import outward, pack

_AT_ONCE = 20_000  # rows in memory; fewer or more take as long
_MOST_VALUES = 900  # of one statement; every SQLite takes 999
_PATIENCE_S = 5.0  # with another program that has the file open
_NAN = float("nan")
_LITTLE_ENDIAN, _ENVELOPE, _EMPTY = 1, 2, 16  # flags of a geometry: low byte first, with envelope, without a vertex
_REASONS = {
    "full": "the disk is full: make room or choose another folder",
    "locked": "another program has the file open: close it there or choose another file name",
    "readonly": "the folder or file may not be written: choose another folder",
}


def fill(
    path: Path,
    rows: Rows,
    unit_m: float,
    progress: Callable[[float], None],
    is_canceled: Callable[[], bool],
) -> bool:
    """Fill the one, empty layer of the GeoPackage at `path`, whose fields are those of `rows`; shapes are in metres.

    Nothing is left of the file if this is canceled, which returns False, or cannot be done: OSError with the reason.
    """
    if not _is_empty(path):
        raise OSError(f"{path} holds something already: choose another file name")
    try:
        with closing(sqlite3.connect(path, _PATIENCE_S, isolation_level=None)) as file:
            # the file is new: if the power fails it is made again
            file.execute("PRAGMA synchronous = OFF")
            file.execute("BEGIN IMMEDIATE")
            filled = _fill(file, rows, unit_m, progress, is_canceled)
            file.execute("COMMIT" if filled else "ROLLBACK")
    except sqlite3.Error as error:
        _remove(path)
        said = str(error)
        raise OSError(next((reason for word, reason in _REASONS.items() if word in said), said)) from error
    except BaseException:
        _remove(path)
        raise
    if not filled:
        _remove(path)
    return filled


def _is_empty(path: Path) -> bool:
    """Whether a GeoPackage holds one layer, and that no row."""
    with closing(sqlite3.connect(path)) as file:
        tables = file.execute("SELECT table_name FROM gpkg_contents").fetchall()
        return len(tables) == 1 and not file.execute(_sql("SELECT 1 FROM {} LIMIT 1", *tables[0])).fetchall()


def _remove(path: Path) -> None:
    for ending in ("", "-journal"):
        path.with_name(path.name + ending).unlink(missing_ok=True)


def fill_tables(
    path: Path,
    tables: Mapping[str, Rows],
    unit_m: float,
    progress: Callable[[float], None],
    is_canceled: Callable[[], bool],
) -> bool:
    """Fill empty layers and tables of the GeoPackage at `path` in one transaction, past the triggers they have.

    Nothing of it is done if this is canceled, which returns False, or cannot be done: OSError with the reason.
    """
    try:
        with closing(sqlite3.connect(path, _PATIENCE_S, isolation_level=None)) as file:
            file.execute("BEGIN IMMEDIATE")
            filled = all(
                _fill_table(file, table, rows, unit_m, progress, is_canceled) for table, rows in tables.items()
            )
            file.execute("COMMIT" if filled else "ROLLBACK")
    except sqlite3.Error as error:
        said = str(error)
        raise OSError(next((reason for word, reason in _REASONS.items() if word in said), said)) from error
    return filled


def _fill(file: sqlite3.Connection, rows: Rows, unit_m: float, progress, is_canceled) -> bool:
    ((table,),) = file.execute("SELECT table_name FROM gpkg_contents").fetchall()
    return _fill_table(file, table, rows, unit_m, progress, is_canceled)


def _fill_table(file: sqlite3.Connection, table: str, rows: Rows, unit_m: float, progress, is_canceled) -> bool:
    place = file.execute(
        "SELECT column_name, srs_id FROM gpkg_geometry_columns WHERE table_name = ?", (table,)
    ).fetchone()
    triggers = file.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'trigger' AND tbl_name = ?", (table,)
    ).fetchall()
    for name, _ in triggers:
        file.execute(_sql("DROP TRIGGER {}", name))
    boxes, corners = np.empty((0 if place is None else rows.count, 4), dtype=np.float32), []
    for part in rows.parts(_AT_ONCE):
        if is_canceled():
            return False
        columns, shapes = rows.part(part)
        names, values = list(columns), [_values(column) for column in columns.values()]
        if place is not None:
            shapes = in_units(shapes, unit_m)
            exact = shapely.bounds(shapes)
            boxes[part] = outward(exact)
            corners.append(shapely.total_bounds(shapes))
            names.append(place[0])
            values.append(_blobs(shapes, exact, place[1]))
        _insert(file, table, names, zip(*values), part.stop - part.start)
        progress(part.stop / rows.count)
    if corners:
        _say_extent(file, table, np.array(corners))
        _index(file, f"rtree_{table}_{place[0]}", boxes)
    file.execute("UPDATE gpkg_ogr_contents SET feature_count = ? WHERE table_name = ?", (rows.count, table))
    for _, sql in triggers:
        file.execute(sql)
    return True


def _sql(statement: str, table: str, *columns: str) -> str:
    """A statement with names in it, which SQLite takes as no parameters."""
    table, *columns = ('"' + name.replace('"', '""') + '"' for name in (table, *columns))
    return statement.format(table, ", ".join(columns))


def _insert(file: sqlite3.Connection, table: str, names: Sequence[str], rows: Iterator[tuple], count: int) -> None:
    """Many rows a statement: of each statement SQLite keeps account."""
    width = len(names)
    begin = _sql("INSERT INTO {} ({}) VALUES ", table, *names)
    one = f"({', '.join('?' * width)})"
    together = max(1, _MOST_VALUES // width)
    values = chain.from_iterable(rows)
    full = islice(values, count // together * together * width)
    file.executemany(begin + ", ".join([one] * together), zip(*[full] * (together * width)))
    file.executemany(begin + one, zip(*[values] * width))


def _values(column: np.ndarray) -> list:
    """Python values of the kinds that SQLite's module takes without a detour; NaN is NULL to SQLite."""
    if column.dtype.kind == "O":
        return np.where(np.equal(column, None), _NAN, column).tolist()
    return (column.astype(np.int64) if column.dtype.kind == "b" else column).tolist()


def _blobs(shapes: np.ndarray, boxes: np.ndarray, srs_id: int) -> list:
    """Shapes as a GeoPackage holds them: head, envelope (points need none), WKB."""
    with_envelope = bool((shapely.get_type_id(shapes) != shapely.GeometryType.POINT).any())
    kind = [("magic", "S2"), ("version", "u1"), ("flags", "u1"), ("srs_id", "<i4")]
    heads = np.zeros(len(shapes), dtype=[*kind, ("envelope", "<f8", 4)] if with_envelope else kind)
    heads["magic"], heads["srs_id"] = b"GP", srs_id
    heads["flags"] = _LITTLE_ENDIAN + _ENVELOPE * with_envelope + _EMPTY * shapely.is_empty(shapes)
    if with_envelope:
        heads["envelope"] = boxes[:, [0, 2, 1, 3]]
    head, size = heads.tobytes(), heads.itemsize
    # inside the QGIS program itself shapely may run on QGIS's older GEOS, which refuses its default of 4 dimensions
    wkb = shapely.to_wkb(shapes, output_dimension=2, include_srid=False, byte_order=1).tolist()
    # SQLite's module takes a bytearray at once, bytes by a detour
    starts = range(0, len(head), size)
    return [_NAN if shape is None else bytearray(head[at : at + size] + shape) for at, shape in zip(starts, wkb)]


def _say_extent(file: sqlite3.Connection, table: str, boxes: np.ndarray) -> None:
    if not np.isnan(boxes).all():
        extent = [*np.nanmin(boxes[:, :2], axis=0).tolist(), *np.nanmax(boxes[:, 2:], axis=0).tolist()]
        file.execute(
            "UPDATE gpkg_contents SET min_x = ?, min_y = ?, max_x = ?, max_y = ? WHERE table_name = ?", (*extent, table)
        )


def _index(file: sqlite3.Connection, index: str, boxes: np.ndarray) -> None:
    """Fill the spatial index where there is one; rows are numbered from 1 on."""
    row = np.flatnonzero(~np.isnan(boxes[:, 0]))
    nodes = f"{index}_node"
    if not len(row) or not file.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (nodes,)).fetchone():
        return
    ((node_bytes,),) = file.execute(_sql("SELECT length(data) FROM {}", nodes)).fetchall()
    packed = pack(row + 1, boxes[row], node_bytes)
    file.execute(_sql("DELETE FROM {}", nodes))
    number, above = range(1, len(packed.nodes) + 1), packed.above.tolist()
    _insert(file, nodes, ("nodeno", "data"), zip(number, packed.nodes), len(number))
    _insert(file, f"{index}_parent", ("nodeno", "parentnode"), zip(number[1:], above[1:]), len(number) - 1)
    for first in range(0, len(row), _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        homes = zip((row[some] + 1).tolist(), packed.node_of_row[some].tolist())
        _insert(file, f"{index}_rowid", ("rowid", "nodeno"), homes, len(row[some]))
