"""A generated county as an archive with its history, made once and kept beside the county."""

from __future__ import annotations

import shutil
import sqlite3
import sys
from contextlib import closing
from pathlib import Path

import county as counties
from fallkeeper.plugin.history.file import open_archive
from fallkeeper.plugin.qgis_layer.archive import create_archive
from qgis.core import QgsVectorLayer

_LAYERS = ("land", "drains", "structures", "tree_rows", "woods")


def archive_of(county: counties.County) -> Path:
    """Every row of the county's layers, added under the archive's rules: each has its entry in the history."""
    made, stamp = county.folder / "archive.gpkg", county.folder / "archive_stamp"
    by = str(county.vector.stat().st_mtime_ns) + Path(__file__).read_text(encoding="utf-8")
    if made.exists() and stamp.exists() and stamp.read_text(encoding="utf-8") == by:
        return made
    print(f"Making an archive of {county.lines:,} lines", file=sys.stderr)
    made.unlink(missing_ok=True)
    create_archive(made, QgsVectorLayer(county.layer("drains"), "drains", "ogr").crs(), "metric", county.folder.name)
    with closing(open_archive(made, write=True)) as file:
        file.execute("PRAGMA synchronous = OFF")
        file.execute("ATTACH ? AS county", [str(county.vector)])
        file.execute("BEGIN")
        for name in _LAYERS:
            own, given = (_columns(file, f"{schema}.{name}") for schema in ("main", "county"))
            shared = ", ".join(f'"{column}"' for column in own if column in given and column != "fid")
            file.execute(f"INSERT INTO main.{name} ({shared}) SELECT {shared} FROM county.{name}")
        file.execute("COMMIT")
        file.execute("DETACH county")
    stamp.write_text(by, encoding="utf-8")
    return made


def _columns(file: sqlite3.Connection, table: str) -> list[str]:
    schema, name = table.split(".")
    return [row[1] for row in file.execute(f"PRAGMA {schema}.table_info({name})")]


def copied(made: Path, aside: Path) -> Path:
    return Path(shutil.copyfile(made, aside / "archive.gpkg"))
