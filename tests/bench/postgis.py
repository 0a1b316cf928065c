"""PostGIS on a database cluster of its own, made for the run and thrown away; left out where it is not installed."""

from __future__ import annotations

import sys

from county import ROOT, County
from measure import Clock

TOLERANCE_M = 0.25
TREE_DISTANCE_M = 10.0

_ENDS = """CREATE TABLE ends AS
SELECT fid AS line, 0 AS end_number, ST_StartPoint(geom) AS place FROM drains
UNION ALL SELECT fid, 1, ST_EndPoint(geom) FROM drains"""
_JOINS = f"""CREATE TABLE joins AS
SELECT e.line, e.end_number, d.fid AS other, ST_LineLocatePoint(d.geom, e.place) AS share
FROM ends e JOIN drains d ON ST_DWithin(d.geom, e.place, {TOLERANCE_M}) AND d.fid <> e.line"""
_NEAR = f"""CREATE TABLE near AS
SELECT d.fid AS line, w.fid AS wood, ST_Distance(d.geom, w.geom) AS distance
FROM drains d JOIN woods w ON ST_DWithin(d.geom, w.geom, {TREE_DISTANCE_M})"""


sys.path.append(str(ROOT / "tests"))  # where database_server is


def why_left_out() -> str:
    """A sentence where PostGIS cannot be measured here; empty where it can."""
    import database_server

    return f"PostGIS was left out. {database_server.why_not()}" if database_server.why_not() else ""


def joins_in_database(county: County, clock: Clock) -> None:
    """Load the drains, join every end to the pipes within the tolerance, and find the pipes near woods."""
    import database_server
    from osgeo import gdal, ogr

    gdal.UseExceptions()
    gdal.SetConfigOption("PG_USE_COPY", "YES")
    with database_server.Server() as server:
        database = "PG:" + server.where(server.new_database())
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
