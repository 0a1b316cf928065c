"""Writes an import as a file of its own in archive form: the layers, rules, forms and styles of an archive."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Callable, Mapping
from contextlib import closing
from pathlib import Path

from qgis.core import QgsCoordinateReferenceSystem

from ..importing.output import RowsOut
from .archive import create_archive
from .archive_error import ArchiveError
from .geopackage import fill_tables
from .rows import Rows


def write_layout(
    path: Path,
    crs: QgsCoordinateReferenceSystem,
    units: str,
    name: str,
    vertical_datum: str,
    rows: Mapping[str, RowsOut],
    progress: Callable[[float], None],
    is_canceled: Callable[[], bool],
) -> bool:
    """Make an archive at `path` and put the rows in, shapes in units of `crs`; False if canceled, which leaves no file.

    An existing file is only replaced if it is an archive without a row. Raises ArchiveError.
    """
    create_archive(path, crs, units, name)
    done = False
    try:
        if vertical_datum:
            with closing(sqlite3.connect(path)) as file, file:
                file.execute("UPDATE archive SET vertical_datum = ?", (vertical_datum,))
        tables = {table: Rows.of(own.columns, own.shapes) for table, own in rows.items() if len(own)}
        done = fill_tables(path, tables, 1.0, progress, is_canceled)
    except (OSError, sqlite3.Error) as fault:
        raise ArchiveError(f"The layout cannot be written to {path}: {fault}") from None
    finally:
        if not done:
            with contextlib.suppress(OSError):
                path.unlink(missing_ok=True)
    return done
