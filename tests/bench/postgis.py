"""PostGIS on a database cluster of its own, made for the run and thrown away; left out where it is not installed."""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from county import County
from measure import Clock

TOLERANCE_M = 0.25
TREE_DISTANCE_M = 10.0
PROGRAMS = Path("/usr/lib/postgresql")
EXTENSIONS = Path("/usr/share/postgresql")
OWNER = "postgres"  # PostgreSQL does not run as root; then its own user runs it

_ENDS = """CREATE TABLE ends AS
SELECT fid AS line, 0 AS end_number, ST_StartPoint(geom) AS place FROM drains
UNION ALL SELECT fid, 1, ST_EndPoint(geom) FROM drains"""
_JOINS = f"""CREATE TABLE joins AS
SELECT e.line, e.end_number, d.fid AS other, ST_LineLocatePoint(d.geom, e.place) AS share
FROM ends e JOIN drains d ON ST_DWithin(d.geom, e.place, {TOLERANCE_M}) AND d.fid <> e.line"""
_NEAR = f"""CREATE TABLE near AS
SELECT d.fid AS line, w.fid AS wood, ST_Distance(d.geom, w.geom) AS distance
FROM drains d JOIN woods w ON ST_DWithin(d.geom, w.geom, {TREE_DISTANCE_M})"""


def programs() -> Path | None:
    """The folder of the newest PostgreSQL that has PostGIS."""
    versions = sorted(PROGRAMS.glob("*/bin/initdb"), key=lambda path: int(path.parts[-3]), reverse=True)
    fit = [path.parent for path in versions if (EXTENSIONS / path.parts[-3] / "extension/postgis.control").exists()]
    return fit[0] if fit else None


def why_left_out() -> str:
    """A sentence where PostGIS cannot be measured here; empty where it can."""
    return "" if programs() else "PostGIS was left out: it is not installed (Debian package postgresql-*-postgis-3)."


def joins_in_database(county: County, clock: Clock) -> None:
    """Load the drains, join every end to the pipes within the tolerance, and find the pipes near woods."""
    from osgeo import gdal, ogr

    gdal.UseExceptions()
    gdal.SetConfigOption("PG_USE_COPY", "YES")
    with _cluster() as database:
        clock.loaded()
        with clock("load"):
            for layer in ("drains", "woods"):
                gdal.VectorTranslate(
                    database, str(county.vector), format="PostgreSQL", layers=[layer], accessMode="overwrite",
                    layerCreationOptions=["GEOMETRY_NAME=geom", "FID=fid", "SPATIAL_INDEX=GIST"],
                )
        connection = ogr.Open(database, 1)
        for stage, query in (("join", (_ENDS, "ANALYZE", _JOINS)), ("near", (_NEAR,))):
            with clock(stage):
                for statement in query:
                    connection.ExecuteSQL(statement)
        rows = connection.ExecuteSQL("SELECT count(*) AS n FROM joins")
        clock.facts["joins"] = rows.GetNextFeature().GetField("n")
        connection.ReleaseResultSet(rows)
        connection = None


@contextmanager
def _cluster() -> Iterator[str]:
    """A running database with PostGIS, on a socket in a folder of its own, as GDAL takes it."""
    folder = Path(tempfile.mkdtemp(prefix="fallkeeper_bench_"))
    if os.geteuid() == 0:
        shutil.chown(folder, OWNER)
    _do("initdb", "-D", str(folder / "data"), "-U", OWNER, "-A", "trust")
    server = f"-k {folder} -c listen_addresses=''"
    _do("pg_ctl", "-D", str(folder / "data"), "-w", "-o", server, "-l", str(folder / "log"), "start")
    try:
        _do("psql", "-h", str(folder), "-U", OWNER, "-q", "-c", "CREATE EXTENSION postgis")
        yield f"PG:host={folder} user={OWNER} dbname={OWNER}"
    finally:
        _do("pg_ctl", "-D", str(folder / "data"), "-m", "immediate", "stop")
        shutil.rmtree(folder, ignore_errors=True)


def _do(program: str, *arguments: str) -> None:
    order = [str(programs() / program), *arguments]
    if os.geteuid() == 0:
        order = ["runuser", "-u", OWNER, "--", *order]
    subprocess.run(order, check=True, stdout=subprocess.DEVNULL, cwd=tempfile.gettempdir())
