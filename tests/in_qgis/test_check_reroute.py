"""checkreroute through Processing, on the sample archive and on layers in memory."""

import hashlib
import shutil

import builders as b
import processing
import pytest
from fallkeeper.sample_project import rows
from fallkeeper.sample_project.build_sample import write_archive, write_ground
from permissions import permissions_hold
from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsProcessingException,
    QgsProcessingFeedback,
    QgsProject,
    QgsVectorLayer,
)
from qgis_layers import layer, rows_of

R1 = ((1000, 1075), (900, 1075), (900, 725), (1000, 725))
R2 = ((1000, 1075), (900, 600))
FINDING_COLUMNS = {"check", "call", "severity", "title", "remedy", "drain_id", "name", "station_from", "station_to",
                   "value", "limit", "unit", "probability", "source"}


class Heard(QgsProcessingFeedback):
    """Keeps what is said, in order."""

    def __init__(self):
        super().__init__()
        self.said = []

    def pushInfo(self, text):
        self.said.append(text)

    def pushWarning(self, text):
        self.said.append(text)

    def reportError(self, text, fatalError=False):  # noqa: N803 (QGIS's own name)
        self.said.append(text)


pytestmark = pytest.mark.usefixtures("provider")


@pytest.fixture(scope="module")
def sample(qgis_app, tmp_path_factory):
    """Inputs on the sample county's archive and ground, in a folder of their own."""
    folder = tmp_path_factory.mktemp("Ossel Flats")
    write_archive(folder / "county.gpkg")
    write_ground(folder / "ground.tif")

    def of(name):
        return f"{folder / 'county.gpkg'}|layername={name}"

    return {
        "DRAINS": of("drains"), "STRUCTURES": of("structures"), "SHOTS": of("shots"), "LAND": of("land"),
        "TREES": [of(name) for name in ("trees", "tree_rows", "woods")], "GROUND": str(folder / "ground.tif"),
    }


def route(points, crs=rows.CRS, name="New line"):
    return layer([b.pipe(None, *points)], crs, name, origin=rows.ORIGIN_FT)


def run(inputs, points=None, **given):
    """The results, with `said`: what the user was told, in order."""
    heard = Heard()
    wanted = {"STATIONS": "memory:", "LINE_FINDINGS": "memory:", **inputs, **given}
    if points is not None:
        wanted["ROUTE"] = route(points)
    result = processing.run("fallkeeper:checkreroute", wanted, feedback=heard)
    return {**result, "said": heard.said}


def found(result, check):
    return [row for row in rows_of(result["LINE_FINDINGS"]) if row["check"] == check]


def test_r1_of_the_sample(sample, tmp_path):
    page = tmp_path / "seite für R1.html"
    result = run(sample, R1, INVERT_ERROR=0.03, LEAST_GRADE=0.05, DIAMETER=15, OPENINGS="perforated", REPORT=str(page))
    assert result["VERDICT"] == "falls"
    assert (result["FALL"], result["GRADE"]) == pytest.approx((0.350, 0.0636), abs=5e-5)
    assert result["P_REVERSE"] < 1e-9 and result["LOAD_SHARE"] is None
    assert result["said"][0].startswith("The pipe falls all the way")
    stations = {row["label"]: row for row in rows_of(result["STATIONS"])}
    for label, ground, invert, cut in (("0+00", 699.725, 696.325, 3.400), ("1+00", 699.825, 696.389, 3.436),
                                       ("4+50", 700.175, 696.611, 3.564), ("5+50", 700.075, 696.675, 3.400)):
        row = stations[label]
        assert (row["ground"], row["invert"], row["cut"]) == pytest.approx((ground, invert, cut), abs=0.001)
    assert [row["drain_id"] for row in found(result, "crossing-not-joined")] == [f"F1-{k}" for k in range(14, 21)]
    trees = found(result, "near-trees")
    assert sum(row["station_to"] - row["station_from"] for row in trees) == pytest.approx(63.9 + 78.7, abs=0.2)
    assert any("14 drains with 7.803 acres would have no way out" in said for said in result["said"])
    words = page.read_text(encoding="utf-8")
    for said in ("stub below the new pipe", "The pipe falls all the way", "96.1 %", "Load and size",
                 "What is left behind", "<svg"):
        assert said in words


def test_a33_left_behind_as_lines(sample):
    result = run(sample, R1, INVERT_ERROR=0.03, LEFT_BEHIND="memory:")
    rows = rows_of(result["LEFT_BEHIND"])
    assert sorted(row["drain_id"] for row in rows) == sorted(f"F{f}-{k}" for f in (1, 2) for k in range(14, 21))
    assert sum(row["area"] for row in rows) == pytest.approx(7.803, abs=0.001)
    stubs = [row for row in rows if row["is_stub"]]
    assert {row["drain_id"][:2] for row in stubs} == {"F1"} and len(stubs) == 7
    assert [row["length"] for row in stubs] == pytest.approx([100.0] * 7, abs=0.01)
    lengths = [feature.geometry().length() for feature in result["LEFT_BEHIND"].getFeatures()]
    assert sorted(lengths) == pytest.approx(sorted(row["length"] for row in rows), abs=1e-3)
    assert rows_of(run(sample, R2, INVERT_ERROR=0.03, LEFT_BEHIND="memory:")["LEFT_BEHIND"]) == []


def test_r2_of_the_sample(sample):
    result = run(sample, R2, INVERT_ERROR=0.03)
    assert result["VERDICT"] == "reverse"
    assert (result["FALL"], result["GRADE"]) == pytest.approx((-0.125, -0.0258), abs=6e-5)
    assert result["P_REVERSE"] == pytest.approx(0.998, abs=0.002)
    assert result["said"][0].startswith("The pipe runs backwards")
    assert any("The ground falls 0.375 ft (0.0773 %)" in said for said in result["said"])
    smaller, = found(result, "smaller-downstream")
    assert smaller["drain_id"] == "F1-11" and smaller["detail"].startswith("4 in is smaller than the pipe it takes")
    cover = next(row["cover"] for row in rows_of(result["STATIONS"]))
    assert cover == NULL and any("give DIAMETER" in said for said in result["said"])


def test_lidar_errors_leave_it_open(sample):
    result = run(sample, R2, INVERT_ERROR=0.33)
    assert (result["VERDICT"], result["P_REVERSE"]) == ("cannot_tell", pytest.approx(0.606, abs=0.002))


def test_findings_carry_every_column_and_lie_on_their_pipe(sample):
    layer_found = run(sample, R1, INVERT_ERROR=0.03)["LINE_FINDINGS"]
    assert set(layer_found.fields().names()) >= FINDING_COLUMNS
    assert layer_found.crs().authid() == rows.CRS
    for feature in layer_found.getFeatures():
        length = feature.geometry().length()
        assert length == pytest.approx(feature["station_to"] - feature["station_from"], abs=1e-3)


def test_the_route_is_reprojected_from_another_crs_and_may_be_drawn_the_other_way(sample):
    plain = run(sample, R2, INVERT_ERROR=0.03)
    elsewhere = QgsVectorLayer(f"LineString?crs={rows.CRS}", "r", "memory")
    elsewhere.dataProvider().addFeatures(list(route(R2[::-1]).getFeatures()))
    moved = processing.run("native:reprojectlayer", {
        "INPUT": elsewhere, "TARGET_CRS": QgsCoordinateReferenceSystem("EPSG:32617"), "OUTPUT": "memory:"})["OUTPUT"]
    result = run(sample, ROUTE=moved, INVERT_ERROR=0.03)
    assert (result["VERDICT"], result["FALL"]) == (plain["VERDICT"], pytest.approx(plain["FALL"], abs=1e-4))
    assert result["P_REVERSE"] == pytest.approx(plain["P_REVERSE"], abs=1e-3)


def test_drains_in_degrees_are_refused(sample):
    lonlat = layer([b.main("M", (0, 0), (0, 1))], "EPSG:4326")
    with pytest.raises(QgsProcessingException, match="projected CRS"):
        run({}, R1, DRAINS=lonlat)


def test_a_route_without_a_crs_is_refused(sample):
    nowhere = route(R1)
    nowhere.setCrs(QgsCoordinateReferenceSystem())
    with pytest.raises(QgsProcessingException, match="no coordinate reference system"):
        run(sample, ROUTE=nowhere)


def test_of_several_routes_the_selected_one_is_judged(sample):
    both = layer([b.pipe("R1", *R1), b.pipe("R2", *R2)], rows.CRS, origin=rows.ORIGIN_FT)
    first = run(sample, ROUTE=both, INVERT_ERROR=0.03)
    assert first["VERDICT"] == "falls" and any("holds 2 routes" in said for said in first["said"])
    both.selectByIds([feature.id() for feature in both.getFeatures() if feature["drain_id"] == "R2"])
    assert run(sample, ROUTE=both, INVERT_ERROR=0.03)["VERDICT"] == "reverse"


def test_an_empty_route_layer_is_refused(sample):
    with pytest.raises(QgsProcessingException, match="draw the route"):
        run(sample, ROUTE=QgsVectorLayer(f"LineString?crs={rows.CRS}", "empty", "memory"))


def test_without_elevation_numbers_are_none(sample):
    bare = layer([b.main("M", (0, 0), (0, 1000))], rows.CRS, origin=rows.ORIGIN_FT)
    outlet = layer([b.outlet(0, 0)], rows.CRS, origin=rows.ORIGIN_FT)
    result = run({"DRAINS": bare, "STRUCTURES": outlet}, ((0, 200), (50, 400), (0, 600)))
    assert [result[key] for key in ("VERDICT", "FALL", "GRADE", "P_REVERSE")] == ["unknown", None, None, None]
    assert found(result, "unknown-elevation")[0]["call"] == "unknown"
    assert all(row["invert"] == NULL and row["grade"] == NULL for row in rows_of(result["STATIONS"]))


def test_given_figures_count_in_the_units_of_the_run(sample):
    """Feet in the sample: 12 in, so the least cover is 699.725 - 696.3 - 1 = 2.425 ft."""
    result = run(sample, R1, INVERT_UP=696.6, INVERT_DOWN=696.3, INVERT_ERROR=0.05, DIAMETER=12, LEAST_COVER=3.0,
                 GREATEST_DEPTH=3.5)
    assert (result["FALL"], result["GRADE"]) == pytest.approx((0.3, 0.3 / 5.5), abs=1e-5)
    shallow, = found(result, "shallow-cover")
    assert (shallow["value"], shallow["limit"], shallow["unit"]) == (pytest.approx(2.425, abs=1e-3), 3.0, "ft")
    deep, = found(result, "deep-trench")
    assert deep["limit"] == 3.5 and "given for this run" in deep["source"]


def test_a_grade_to_lay_it_at_is_held_against_the_pipe_at_the_other_end(sample, tmp_path):
    """The pipes' inverts are 0.35 ft apart over 550 ft; at 0.2 % the upper end is 0.75 ft above its pipe."""
    page = tmp_path / "r1.html"
    result = run(sample, R1, LAY_AT_GRADE=0.2, INVERT_ERROR=0.03, REPORT=str(page))
    assert (result["FALL"], result["GRADE"], result["VERDICT"]) == (pytest.approx(1.1), pytest.approx(0.2), "falls")
    step, = found(result, "tie-in-step")
    assert (step["value"], step["unit"], step["severity"]) == (pytest.approx(-0.75, abs=1e-3), "ft", "serious")
    climb = "But where it ties in water would have to climb: upper end too high by 0.750 ft"
    assert climb in page.read_text(encoding="utf-8") and any(climb in said for said in result["said"])
    assert not found(run(sample, R1), "tie-in-step")


def test_a_grade_beside_both_inverts_is_refused(sample):
    with pytest.raises(QgsProcessingException, match="leave one of the three empty"):
        run(sample, R1, LAY_AT_GRADE=0.1, INVERT_UP=696.6, INVERT_DOWN=696.3)


def test_a_metric_layer_counts_in_metres_and_millimetres(qgis_app):
    known = {"invert_start": 30.0, "invert_end": 30.4, "invert_error": 0.01, "diameter": 300.0}
    main, outlet = (layer([row], "EPSG:26917", origin=(300_000.0, 4_600_000.0)) for row in (
        b.main("M", (0, 0), (0, 400), **known), b.outlet(0, 0)))
    drawn = layer([b.pipe(None, (0, 100), (30, 200), (0, 300))], "EPSG:26917", origin=(300_000.0, 4_600_000.0))
    result = run({"DRAINS": main, "STRUCTURES": outlet}, ROUTE=drawn, DIAMETER=200, LEAST_GRADE=0.05)
    assert (result["FALL"], result["GRADE"]) == pytest.approx((0.2, 20 / 208.806), abs=1e-4)
    smaller, = found(result, "smaller-downstream")
    assert (smaller["value"], smaller["limit"]) == pytest.approx((200, 300)) and smaller["unit"] == "mm"


def test_fixed_points_need_their_fields(sample):
    plain = layer([{"geometry": b.shapely.Point(900, 900), "name": "gas"}], rows.CRS, origin=rows.ORIGIN_FT)
    with pytest.raises(QgsProcessingException, match="no field least or greatest"):
        run(sample, R1, FIXED=plain)
    fixed = layer([{"geometry": b.shapely.Point(900, 900), "name": "gas", "least": 697.0, "greatest": None}], rows.CRS,
                  origin=rows.ORIGIN_FT)
    missed, = found(run(sample, R1, FIXED=fixed), "fixed-invert")
    assert missed["limit"] == pytest.approx(697.0) and "at gas" in missed["detail"]


def test_a_ground_in_the_wrong_unit_is_not_used(sample):
    result = run(sample, R1, GROUND_UNIT="m", DIAMETER=12)
    assert any("does not belong to these inverts" in said for said in result["said"])
    assert result["VERDICT"] == "falls" and not found(result, "deep-trench")
    assert all(row["ground"] == NULL for row in rows_of(result["STATIONS"]))


def test_nothing_is_changed_and_a_read_only_archive_will_do(sample, tmp_path):
    copy = tmp_path / "county.gpkg"
    shutil.copyfile(sample["DRAINS"].partition("|")[0], copy)
    copy.chmod(0o444)
    before = hashlib.sha256(copy.read_bytes()).hexdigest()
    inputs = {key: value.replace(sample["DRAINS"].partition("|")[0], str(copy)) for key, value in sample.items()
              if key in ("DRAINS", "STRUCTURES", "SHOTS", "LAND")}
    drawn = route(R2)
    shape = next(drawn.getFeatures()).geometry().asWkt()
    with permissions_hold():
        assert run(inputs, ROUTE=drawn, INVERT_ERROR=0.03)["VERDICT"] == "reverse"
    assert hashlib.sha256(copy.read_bytes()).hexdigest() == before
    assert next(drawn.getFeatures()).geometry().asWkt() == shape
    assert not QgsProject.instance().mapLayers()


def test_every_parameter_is_explained(provider):
    algorithm = provider.algorithm("checkreroute")
    assert all(parameter.help() for parameter in algorithm.parameterDefinitions())
    assert {output.name() for output in algorithm.outputDefinitions()} == {
        "STATIONS", "LINE_FINDINGS", "LEFT_BEHIND", "REPORT", "VERDICT", "FALL", "GRADE", "P_REVERSE", "LOAD_SHARE"}
