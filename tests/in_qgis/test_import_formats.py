"""Every format comes in as another reader sees it, and goes out as another reader sees it; the file stays as it was."""

import csv
import hashlib
import json
import shutil
import sqlite3
from contextlib import closing

import geopandas
import layout_files as layouts
import numpy as np
import pytest
import shapely
from algorithm_runs import refusal, run
from fallkeeper.plugin.importing.draft import kept_in
from qgis.core import QgsCoordinateReferenceSystem

LONLAT = "EPSG:4326"
KEYS = ["N1", "N2", "S\u00fcd"]
SAID = {"VERTICAL_DATUM": "unknown", "LENGTH_UNIT": "ft"}


pytestmark = pytest.mark.usefixtures("provider", "quick_archives")


def digest(path):
    """Of a file and all its parts."""
    parts = sorted(path.parent.glob(f"{path.stem}.*"))
    return {part.name: hashlib.sha256(part.read_bytes()).hexdigest() for part in parts}


class Taken:
    """An import that was written, read by other programs."""

    def __init__(self, path, folder, **said):
        before = digest(path)
        self.path = folder / "taken in.gpkg"
        said = {"OUTPUT_CRS": QgsCoordinateReferenceSystem(layouts.FEET), **said}
        self.ran = run("importlayout", INPUT=str(path), WRITE=True, OUTPUT=str(self.path),
                       REPORT=str(folder / "report.html"), **said)
        assert digest(path) == before, "the file is as it was"
        self.drains = layouts.read(self.path)

    def column(self, name):
        return [None if value is None or value != value else value for value in self.drains[name].tolist()]

    def keeps_rules(self):
        """Every row stands up to the triggers of its own file, in a program that knows nothing of the plugin."""
        copy = shutil.copy(self.path, self.path.with_name("touched.gpkg"))
        with closing(sqlite3.connect(copy)) as file:
            for name in ("ST_IsEmpty", "ST_MinX", "ST_MaxX", "ST_MinY", "ST_MaxY"):
                file.create_function(name, 1, lambda shape: 0)
            for table in ("drains", "structures", "shots", "layouts", "archive"):
                file.execute(f"UPDATE {table} SET note = note")
            assert file.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def same_lines(taken, source, tolerance=0.0):
    """Vertex by vertex, in the order of the file; a metre off in a thousand miles is not the same."""
    wanted = source if source.crs == taken.drains.crs else source.to_crs(taken.drains.crs)
    for one, other in zip(taken.drains.geometry, wanted.geometry):
        np.testing.assert_allclose(shapely.get_coordinates(one), shapely.get_coordinates(other), rtol=0, atol=tolerance)
    assert len(taken.drains) == len(wanted)


def same_values(taken):
    assert taken.column("drain_id") == KEYS
    assert taken.column("role") == ["lateral", "lateral", "submain"]
    assert taken.column("diameter") == [4.0, 4.0, pytest.approx(200 / 25.4, abs=1e-6)]
    assert taken.column("spacing") == [50.0, None, None]
    assert [None if day is None else str(day)[:10] for day in taken.column("installed_on")] == [
        "2024-04-25", None, "2024-05-01"]
    assert [kept_in(note) for note in taken.column("note")] == [{"OWNER": "x"}, {}, {"OWNER": "y"}]
    taken.keeps_rules()


@pytest.mark.parametrize("name", ["a.gpkg", "a b.shp", "a.geojson", "a.fgb"])
def test_files_with_fields_and_crs(tmp_path, name):
    crs = LONLAT if name.endswith("geojson") else layouts.FEET
    path = layouts.write(layouts.three(crs), tmp_path / name)
    taken = Taken(path, tmp_path)
    order = np.argsort([KEYS.index(key) for key in taken.column("drain_id")])
    taken.drains = taken.drains.iloc[order]
    same_values(taken)
    same_lines(taken, layouts.three(crs) if crs == layouts.FEET else layouts.read(path, None),
               0 if crs != LONLAT else 0.01)


@pytest.mark.parametrize("crs", ["EPSG:32122", "EPSG:26917", "EPSG:32617"])
def test_other_crs_are_brought_into_that_of_the_layout(tmp_path, crs):
    path = layouts.write(layouts.three(crs), tmp_path / "a.gpkg")
    same_lines(Taken(path, tmp_path), layouts.three(crs), 0.001)


def test_without_another_wish_the_layout_keeps_the_files_crs(tmp_path):
    path = layouts.write(layouts.three("EPSG:32122"), tmp_path / "a.gpkg")
    taken = Taken(path, tmp_path, OUTPUT_CRS=None)
    assert taken.drains.crs.to_epsg() == 32122
    assert layouts.read(taken.path, "archive")["units"].tolist() == ["metric"]
    assert taken.column("diameter") == [pytest.approx(101.6), pytest.approx(101.6), 200.0]
    same_lines(taken, layouts.three("EPSG:32122"))


@pytest.mark.parametrize("encoding", ["UTF-8", "cp1252"])
@pytest.mark.parametrize("marked", ["as it is", "not at all", "wrongly"])
def test_letters_of_a_shapefile(tmp_path, encoding, marked):
    path = layouts.write(layouts.three(), tmp_path / "a.shp", encoding=encoding)
    mark = path.with_suffix(".cpg")
    if marked == "not at all":
        mark.unlink()
    elif marked == "wrongly":
        mark.write_text({"UTF-8": "ISO-8859-1", "cp1252": "UTF-8"}[encoding], encoding="ascii")
    taken = Taken(path, tmp_path)
    assert taken.column("drain_id") == KEYS
    assert len([w for w in taken.ran.heard.warnings if "looks like" in w]) == (marked != "as it is")


def test_a_shapefile_in_a_zip(tmp_path):
    import zipfile

    path = layouts.write(layouts.three(), tmp_path / "inner.shp")
    with zipfile.ZipFile(tmp_path / "sent.zip", "w") as held:
        for part in tmp_path.glob("inner.*"):
            held.write(part, part.name)
    for part in path.parent.glob("inner.*"):
        part.unlink()
    taken = Taken(tmp_path / "sent.zip", tmp_path)
    assert taken.column("drain_id") == KEYS


@pytest.mark.parametrize("ending", ["kml", "kmz"])
def test_placemarks(tmp_path, ending):
    frame = layouts.three(LONLAT).rename(columns={"LINE_ID": "Name"})
    path = tmp_path / f"a.{ending}"
    layouts.write(frame, path, driver="LIBKML") if ending == "kml" else layouts.write_kmz(frame, path)
    taken = Taken(path, tmp_path)
    assert taken.column("name") == KEYS
    assert taken.column("role") == ["lateral", "lateral", "submain"]
    assert taken.column("diameter")[:2] == [4.0, 4.0]
    same_lines(taken, frame, 0.01)


def test_folders_of_placemarks_say_the_role(tmp_path):
    frame = layouts.three(LONLAT)[["LINE_ID", "geometry"]].rename(columns={"LINE_ID": "Name"})
    path = tmp_path / "a.kml"
    layouts.write(frame[:2], path, driver="LIBKML", layer="Laterals")
    layouts.write(frame[2:], path, driver="LIBKML", layer="Mains", mode="a")
    assert Taken(path, tmp_path).column("role") == ["lateral", "lateral", "main"]


def test_a_drawing(tmp_path):
    frame = layouts.three().rename(columns={"TYPE": "Layer"})[["Layer", "geometry"]]
    path = layouts.write(frame, tmp_path / "a.dxf", driver="DXF")
    said = refusal("importlayout", INPUT=str(path), WRITE=True, OUTPUT=str(tmp_path / "no.gpkg"))
    assert "In which CRS" in said
    assert not (tmp_path / "no.gpkg").exists()
    taken = Taken(path, tmp_path, CRS=QgsCoordinateReferenceSystem(layouts.FEET))
    assert taken.column("role") == ["lateral", "lateral", "submain"]
    same_lines(taken, frame, 1e-6)


def test_a_table_with_shapes_as_text(tmp_path):
    path = tmp_path / "a.csv"
    frame = layouts.three()
    with path.open("w", encoding="utf-8", newline="") as held:
        writer = csv.writer(held, delimiter=";")
        writer.writerow(["WKT", *frame.columns[:-1]])
        for shape, row in zip(frame.geometry, frame.drop(columns="geometry").fillna("").itertuples(index=False)):
            writer.writerow([shapely.to_wkt(shape, rounding_precision=-1), *row])
    taken = Taken(path, tmp_path, CRS=QgsCoordinateReferenceSystem(layouts.FEET))
    same_values(taken)
    same_lines(taken, frame)


def test_a_table_with_the_two_ends(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("ID,Type,X1,Y1,X2,Y2,Dia (in)\nA,main,2104000,802050,2104000,802150,8\n", encoding="utf-8")
    taken = Taken(path, tmp_path, CRS=QgsCoordinateReferenceSystem(layouts.FEET))
    assert [shape.wkt for shape in taken.drains.geometry] == ["LINESTRING (2104000 802050, 2104000 802150)"]
    assert (taken.column("drain_id"), taken.column("role"), taken.column("diameter")) == (["A"], ["main"], [8.0])


def log_text(sign=",", mark="."):
    """A log of two laterals, a point a metre, heights falling to the main with a sag of 0.2 in the second."""
    rows = [sign.join(("Run", "Easting", "Northing", "Pipe invert", "Time"))]
    for run_, y in (("L1", 245000.0), ("L2", 245015.0)):
        for k in range(101):
            z = 212.0 + 0.001 * k - (0.2 if run_ == "L2" and k == 50 else 0.0)
            rows.append(sign.join((run_, f"{641000.0 + k:.3f}".replace(".", mark), f"{y:.3f}".replace(".", mark),
                                   f"{z:.4f}".replace(".", mark), f"2024-05-01T08:{k // 60:02d}:{k % 60:02d}")))
    return "unit 7, firmware 2\n" + "\n".join(rows) + "\n" if sign != "," else "\n".join(rows) + "\n"


@pytest.mark.parametrize(("sign", "mark"), [(",", "."), (";", ","), ("\t", ".")])
def test_a_log_as_text(tmp_path, sign, mark):
    path = tmp_path / "log.csv"
    path.write_text(log_text(sign, mark), encoding="utf-8")
    taken = Taken(path, tmp_path, CRS=QgsCoordinateReferenceSystem("EPSG:32122"), OUTPUT_CRS=None, LENGTH_UNIT="m",
                  VERTICAL_DATUM="NAVD 88", LOCATED_BY="machine_log", ROLE="lateral", HEIGHT_ERROR=0.03)
    assert taken.column("drain_id") == ["L1", "L2"]
    assert [shape.wkt for shape in taken.drains.geometry] == [
        f"LINESTRING (641000 {y}, 641100 {y})" for y in (245000, 245015)]
    assert taken.column("invert_start") == [212.0, 212.0]
    assert taken.column("invert_end") == [pytest.approx(212.1), pytest.approx(212.1)]
    assert layouts.read(taken.path, "archive")["vertical_datum"].tolist() == ["NAVD 88"]
    shots = layouts.read(taken.path, "shots")
    assert set(shots["drain_id"]) == {"L2"}
    assert shots[shots.geometry.x == 641050.0]["elevation"].tolist() == [pytest.approx(211.85)]
    taken.keeps_rules()


def test_longitudes_of_a_log_are_asked_about(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("lat,lon,run\n41.86,-82.01,a\n41.8601,-82.01,a\n41.8602,-82.01,a\n41.8603,-82.01,a\n",
                    encoding="utf-8")
    said = {"ROLE": "main", "LOCATED_BY": "rtk", "OUTPUT_CRS": QgsCoordinateReferenceSystem("EPSG:26917")}
    ran = run("importlayout", INPUT=str(path), **said)
    assert (ran["QUESTION_COUNT"], ran["DRAIN_COUNT"], ran["DOUBTFUL_COUNT"]) == (1, 0, 1)
    assert "EPSG:6318" in ran.heard.sentence_with("longitudes and latitudes")
    taken = Taken(path, tmp_path, CRS=QgsCoordinateReferenceSystem(LONLAT), **said)
    wanted = geopandas.GeoSeries([shapely.Point(-82.01, 41.86), shapely.Point(-82.01, 41.8603)],
                                 crs=LONLAT).to_crs(26917)
    ends = shapely.get_coordinates(taken.drains.geometry)[[0, -1]]
    np.testing.assert_allclose(ends, shapely.get_coordinates(wanted), atol=0.001)


GPX = """<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">
<wpt lat="41.861" lon="-82.017"><name>Headwall</name><sym>Outlet</sym></wpt>
<wpt lat="41.862" lon="-82.017"><name>Car</name></wpt>
<rte><name>Main west</name><rtept lat="41.861" lon="-82.017"/><rtept lat="41.863" lon="-82.017"/></rte>
<trk><name>Lateral 1</name><trkseg>{track}</trkseg></trk></gpx>"""


def test_tracks_routes_and_waypoints(tmp_path):
    points = "".join(
        f'<trkpt lat="{41.862 + k * 1e-5:.7f}" lon="-82.0165"><ele>{180 + k / 100}</ele>'
        f"<time>2024-05-01T08:00:{k:02d}Z</time></trkpt>" for k in range(40)
    )
    path = tmp_path / "walk.gpx"
    path.write_text(GPX.format(track=points), encoding="utf-8")
    taken = Taken(path, tmp_path, ROLE="lateral", LOCATED_BY="rtk", HEIGHTS="none")
    assert sorted(taken.column("name")) == ["Lateral 1", "Main west"]
    names = taken.column("name")
    track = taken.drains.geometry[names.index("Lateral 1")]
    wanted = geopandas.GeoSeries([shapely.Point(-82.0165, 41.862), shapely.Point(-82.0165, 41.86239)], crs=LONLAT)
    np.testing.assert_allclose(shapely.get_coordinates(track)[[0, -1]], shapely.get_coordinates(wanted.to_crs(3734)),
                               atol=0.01)
    assert layouts.read(taken.path, "structures")["kind"].tolist() == ["outlet"]
    (left,) = [row for row in taken.ran.rows("DOUBTS") if row["state"] == "left out"]
    assert json.loads(left["entries"]) == {"name": "Car"}


def test_an_archive_gives_its_drains_structures_and_shots(tmp_path):
    from pathlib import Path

    from fallkeeper.sample_project import rows

    sample = Path(rows.__file__).parent / "ossel_flats.gpkg"
    taken = Taken(sample, tmp_path)
    for name, key in (("drains", "drain_id"), ("structures", "structure_id"), ("shots", "shot_id")):
        before, after = layouts.read(sample, name), layouts.read(taken.path, name)
        assert before[key].tolist() == after[key].tolist()
        assert (before.geometry == after.geometry).all()
        same = [c for c in before if c not in ("note", "layout_id", "geometry", "edited_by", "evidence")]
        for column in same:
            a, b = before[column], after[column]
            assert ((a == b) | (a.isna() & b.isna())).all(), (name, column)
    assert layouts.read(taken.path, "archive")["vertical_datum"].tolist() == layouts.read(sample, "archive")[
        "vertical_datum"].tolist()
    report = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Layer &#x27;land&#x27; was not taken" in report
