"""Files as they should not be: every row comes in, or is listed with the reason; never a fault of the program."""

import json

import layout_files as layouts
import pytest
from algorithm_runs import refusal, run
from fallkeeper.plugin.qgis_layer.import_columns import Complaints
from osgeo import gdal, ogr, osr
from qgis.core import QgsCoordinateReferenceSystem

SAID = {"VERTICAL_DATUM": "unknown", "LENGTH_UNIT": "ft", "DIAMETER_UNIT": "in", "ROLE": "lateral",
        "HEIGHTS": "none", "LOCATED_BY": "rtk"}
X, Y = layouts.X0 + 4000, layouts.Y0 + 1225
FEET = QgsCoordinateReferenceSystem(layouts.FEET)

pytestmark = pytest.mark.usefixtures("provider", "quick_archives")


def look(path, **said):
    return run("importlayout", INPUT=str(path), **{"OUTPUT_CRS": FEET, **SAID, **said})


def taken(path, folder, **said):
    out = folder / "taken in.gpkg"
    look(path, WRITE=True, TAKE_DOUBTFUL=True, OUTPUT=str(out), **said)
    return layouts.read(out)


def places(frame, digits=3):
    return [[tuple(round(value, digits) for value in place) for place in shape.coords] for shape in frame.geometry]


def write(path, driver, shapes, srs=3734, layer="lines"):
    """Rows called a, b, c ... with shapes as text, None for no shape, or as OGR has them."""
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(srs)
    reference.SetAxisMappingStrategy(osr.OAMS_TRADITIONAL_GIS_ORDER)
    with Complaints():  # newer GDAL cannot write an extent that is no number, and may raise when the file is let go
        source = ogr.GetDriverByName(driver).CreateDataSource(str(path))
        table = source.CreateLayer(layer, reference, ogr.wkbUnknown)
        table.CreateField(ogr.FieldDefn("ID", ogr.OFTString))
        for key, shape in zip("abcdefghijklmnopq", shapes):
            row = ogr.Feature(table.GetLayerDefn())
            row["ID"] = key
            row.SetGeometry(ogr.CreateGeometryFromWkt(shape) if isinstance(shape, str) else shape)
            assert table.CreateFeature(row) == 0
            del row
        del table, source
    return path


def line(x, y, kind="LINESTRING", end=""):
    return f"{kind} ({X} {Y + y}{end}, {X - x} {Y + y}{end})"


def test_every_row_of_a_layer_of_all_kinds_comes_in_or_is_listed(tmp_path):
    shapes = {
        "a": line(100, 0),
        "b": f"MULTILINESTRING (({X} {Y + 10}, {X - 50} {Y + 10}), ({X - 50} {Y + 10}, {X - 90} {Y + 10}))",
        "c": f"MULTILINESTRING (({X} {Y + 20}, {X - 50} {Y + 20}), ({X - 70} {Y + 20}, {X - 90} {Y + 20}))",
        "d": None,
        "e": "LINESTRING EMPTY",
        "f": f"GEOMETRYCOLLECTION (LINESTRING ({X} {Y + 30}, {X - 50} {Y + 30}), POINT ({X} {Y}))",
        "g": f"POINT ({X} {Y})",
        "h": f"POLYGON (({X} {Y}, {X + 1} {Y}, {X + 1} {Y + 1}, {X} {Y}))",
        "i": line(50, 40, "LINESTRING M", " 1"),
        "j": line(50, 50, "LINESTRING ZM", " 690 1"),
        "k": line(50, 60, "LINESTRING Z", " 0"),
        "l": f"LINESTRING ({X} {Y + 70}, {X} {Y + 70})",
    }
    path = write(tmp_path / "all.gpkg", "GPKG", shapes.values())
    ran = look(path)
    assert ran["LEFT_OUT_COUNT"] == 5
    left = {json.loads(row["entries"])["ID"] for row in ran.rows("DOUBTS") if row["state"] == "left out"}
    assert left == {"d", "e", "g", "h", "l"}
    assert sorted(taken(path, tmp_path)["drain_id"]) == ["a", "b", "c", "c (2)", "f", "i", "j", "k"]


def test_coordinates_that_are_no_numbers_are_listed(tmp_path):
    broken = []
    for value in (float("inf"), float("nan")):
        shape = ogr.Geometry(ogr.wkbLineString)
        shape.AddPoint_2D(value, Y)
        shape.AddPoint_2D(X, Y)
        broken.append(shape)
    ran = look(write(tmp_path / "a.gpkg", "GPKG", [line(100, 0), *broken]))
    assert ran["DRAIN_COUNT"] == 1
    assert {json.loads(row["entries"])["ID"] for row in ran.rows("DOUBTS")} == {"b", "c"}


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_points_of_an_office_program(tmp_path, encoding):
    """A mark of bytes, semicolons, decimal commas, letters beyond ASCII, an ID that the points of a line share."""
    rows = ["ID;X;Y", *(f"S\u00fcd {key};{X - step:.0f},5;{Y + y:.0f},25" for key, y in (("a", 0), ("b", 10))
                        for step in (0, 50, 100))]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(rows) + "\n", encoding=encoding)
    frame = taken(path, tmp_path, CRS=FEET)
    assert frame["drain_id"].tolist() == ["S\u00fcd a", "S\u00fcd b"]
    assert places(frame) == [[(X + 0.5, Y + y + 0.25), (X - 99.5, Y + y + 0.25)] for y in (0, 10)]


def test_two_columns_of_one_name_and_cells_without_a_name_are_kept(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("ID,Depth,Depth,X1,Y1,X2,Y2\n"
                    f'A,3,4,{X},{Y},{X},{Y + 100},"extra 4"""\nB,3,4,{X + 9},{Y},{X + 9},{Y + 100}\n', encoding="utf-8")
    frame = taken(path, tmp_path, CRS=FEET)
    assert frame["depth_start"].tolist() == [3.0, 3.0]
    assert [json.loads(note.split("file: ")[1]) for note in frame["note"]] == [
        {"Depth (column 3)": "4", "column 8": 'extra 4"'}, {"Depth (column 3)": "4"}]


def test_degrees_minutes_and_seconds(tmp_path):
    path = tmp_path / "a.csv"
    path.write_text("run,lat,lon\na,41\u00b051'41.12\"N,82\u00b001'02.22\"W\na,41 51 42.12 N,82 01 02.22 W\n",
                    encoding="utf-8")
    said = {"CRS": QgsCoordinateReferenceSystem("EPSG:4326"), "OUTPUT_CRS": QgsCoordinateReferenceSystem("EPSG:26917")}
    (shape,) = taken(path, tmp_path, **said).to_crs(4326).geometry
    ends = [(round(x, 7), round(y, 7)) for x, y in shape.coords]
    assert ends == [(-82.0172833, 41.8614222), (-82.0172833, 41.8617)]


def test_no_shape_and_no_fields_in_geojson(tmp_path):
    lon, lat = -82.0024, 41.8648
    features = [
        {"type": "Feature", "properties": {"ID": "a", "list": [1, 2], "more": {"x": 1}}, "geometry": None},
        {"type": "Feature", "properties": None,
         "geometry": {"type": "LineString", "coordinates": [[lon, lat], [lon - 0.001, lat]]}},
    ]
    path = tmp_path / "a.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    ran = look(path)
    assert (ran["DRAIN_COUNT"], ran["LEFT_OUT_COUNT"]) == (1, 1)
    (left,) = [json.loads(row["entries"]) for row in ran.rows("DOUBTS") if row["state"] == "left out"]
    assert left["ID"] == "a" and "1" in left["list"] and "x" in left["more"]


EMPTY_KML = '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document></Document></kml>'
EMPTY_GPX = '<?xml version="1.0"?><gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1"></gpx>'


@pytest.mark.parametrize("name", ["a.gpkg", "a.shp", "a.dxf", "a.geojson", "a.kml", "a.gpx", "a.csv"])
def test_a_file_without_a_row_is_said_to_be_one(tmp_path, name):
    path, driver = tmp_path / name, {"gpkg": "GPKG", "shp": "ESRI Shapefile", "dxf": "DXF"}
    text = {"geojson": '{"type": "FeatureCollection", "features": []}', "kml": EMPTY_KML, "gpx": EMPTY_GPX,
            "csv": "ID,X1,Y1,X2,Y2\n"}
    ending = name[2:]
    if ending in text:
        path.write_text(text[ending], encoding="utf-8")
    elif ending == "dxf":
        source = gdal.GetDriverByName("DXF").Create(str(path), 0, 0, 0)
        source.CreateLayer("entities")
        source = None
    else:
        write(path, driver[ending], [])
    ran = look(path, CRS=FEET)
    assert ran.heard.sentence_with("holds no row")
    assert ran["DRAIN_COUNT"] == 0


def test_a_folder_is_no_file(tmp_path):
    assert "is a folder: choose the file in it" in refusal("importlayout", INPUT=str(tmp_path))


def dxf(*entities, unit=2):
    """A drawing as a text of pairs, written by no library: a head with its unit ($INSUNITS), then entities."""
    head = [(0, "SECTION"), (2, "HEADER"), (9, "$ACADVER"), (1, "AC1015"), (9, "$INSUNITS"), (70, unit), (0, "ENDSEC")]
    body = [(0, "SECTION"), (2, "ENTITIES"), *(pair for entity in entities for pair in entity), (0, "ENDSEC")]
    return "".join(f"{code}\n{value}\n" for code, value in [*head, *body, (0, "EOF")])


def drawn(kind, layer, *pairs):
    return [(0, kind), (8, layer), *pairs]


def test_a_drawing_written_by_hand(tmp_path):
    def vertex(layer, x, y, z):
        return drawn("VERTEX", layer, (10, x), (20, y), (30, z), (70, 32))

    entities = (
        drawn("LINE", "LATERALS", (10, X), (20, Y), (11, X - 100), (21, Y)),
        drawn("LWPOLYLINE", "LATERALS", (90, 3), (70, 0), (10, X), (20, Y + 50), (10, X - 40), (20, Y + 55),
              (10, X - 100), (20, Y + 50)),
        [*drawn("POLYLINE", "MAIN 8 IN", (66, 1), (70, 8)), *vertex("MAIN 8 IN", X, Y - 50, 690.25),
         *vertex("MAIN 8 IN", X, Y + 150, 690.5), *drawn("SEQEND", "MAIN 8 IN")],
        drawn("CIRCLE", "TREES", (10, X), (20, Y + 500), (40, 5)),
        drawn("TEXT", "NOTES", (10, X - 50), (20, Y + 1), (40, 2), (1, "4 IN")),
    )
    path = tmp_path / "a.dxf"
    path.write_text(dxf(*entities), encoding="ascii")
    said = {"CRS": FEET, "COORDINATE_UNIT": "us-ft", "HEIGHTS": "invert"}
    ran = look(path, **said)
    assert ran["QUESTION_COUNT"] == 0
    frame = taken(path, tmp_path, **said)
    wanted = [[(X, Y), (X - 100, Y)], [(X, Y + 50), (X - 40, Y + 55), (X - 100, Y + 50)], [(X, Y - 50), (X, Y + 150)]]
    held = places(frame)
    assert all(line in held for line in wanted)
    row = dict(zip(map(str, held), frame.to_dict("records")))
    assert [row[str(line)]["role"] for line in wanted] == ["lateral", "lateral", "main"]
    main = row[str(wanted[2])]
    assert (main["diameter"], main["invert_start"], main["invert_end"]) == (8.0, 690.25, 690.5)
    assert row[str(wanted[0])]["note"] == "Text beside it: '4 IN'."
    (circle,) = [one for line, one in row.items() if line not in map(str, wanted)]
    assert circle["note"].startswith("Doubtful when taken in: The line ends where it begins")
