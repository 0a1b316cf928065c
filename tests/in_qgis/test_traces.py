"""traceupstream and tracedownstream through Processing, and all network algorithms on files nobody may write to."""

import json
import os
import shutil
import subprocess
import sysconfig
from pathlib import Path

import builders as b
import networks
import processing
import pytest
from algorithm_runs import content_hash, refusal, run
from fallkeeper.plugin.units import GALLON_M3
from fallkeeper.sample_project.build_sample import write_archive
from ohio import OHIO, ORIGIN, in_ohio, point
from permissions import permissions_hold
from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsPointXY,
    QgsProcessingFeatureSourceDefinition,
    QgsProject,
    QgsVectorLayer,
)

OUTLET = b.outlet(0, 0)
ROOT = Path(__file__).resolve().parents[2]


pytestmark = pytest.mark.usefixtures("provider")


def up(x, y, rows=None, **parameters):
    parameters = {"STRUCTURES": in_ohio([OUTLET]), **parameters}
    return run("traceupstream", DRAINS=in_ohio(rows or networks.a01_rows()), POINT=point(x, y), **parameters)


def down(x, y, rows=None, **parameters):
    parameters = {"STRUCTURES": in_ohio([OUTLET]), **parameters}
    return run("tracedownstream", DRAINS=in_ohio(rows or networks.a01_rows()), POINT=point(x, y), **parameters)


def test_a01_upstream():
    ran = up(0, 150)
    assert (ran["PIPE_COUNT"], ran["LATERAL_COUNT"]) == (4, 3)
    assert ran["LENGTH_ABOVE"] == pytest.approx(2328.0, abs=0.1)
    assert ran["AREA_ABOVE"] == pytest.approx(2.5, abs=0.001)
    assert ran["INFLOW_ABOVE"] == 0
    assert ran.drains("PIPES", at_point=False) == ["L2", "L3", "L4", "M3"]
    (clicked,) = [row for row in ran.rows("PIPES") if row["at_point"]]
    assert clicked["drain_id"] == "M2"
    assert clicked["length"] == pytest.approx(50, abs=0.01), "the part above the place is drawn"
    assert sum(row["area"] for row in ran.rows("LAND_ABOVE")) == pytest.approx(2.5, abs=0.001)
    assert any("3 laterals, 2,328.0 ft of pipe, 2.50 acres" in said for said in ran.heard.infos)


def test_a01_at_the_outlet():
    ran = up(0, 0)
    assert ran["AREA_ABOVE"] == pytest.approx(3.5, abs=0.001)
    assert ran["LATERAL_COUNT"] == 4


def test_a01_downstream():
    ran = down(0, 150)
    assert ran["LENGTH_TO_OUTLET"] == pytest.approx(150, abs=0.1)
    assert ran["OUTLET"] == "O"
    assert "The way to the outlet (O) is 150.0 ft." in ran.heard.infos
    assert [(row["drain_id"], round(row["length"])) for row in ran.rows("PIPES")] == [("M2", 50), ("M1", 100)]
    assert [row["at_point"] for row in ran.rows("PIPES")] == [True, False]


def test_the_outlet_nobody_marked_is_called_so():
    assert down(0, 150, STRUCTURES=None)["OUTLET"] == "free end, assumed"


def test_where_no_outlet_can_be_reached_the_length_is_empty_and_it_is_said():
    rows = [b.pipe("P", (0, 0), (0, 100)), b.pipe("Q", (90, 100), (0, 100))]
    ran = down(0, 50, rows, STRUCTURES=None)
    assert ran["LENGTH_TO_OUTLET"] in (None, NULL)
    assert ran["OUTLET"] in (None, NULL, "")
    assert "Mark the outlet with a structure of kind outlet" in ran.heard.sentence_with("Nothing tells which way")
    ran.heard.sentence_with("No outlet can be reached from here")


def test_a_point_in_another_crs():
    to_degrees = QgsCoordinateTransform(
        QgsCoordinateReferenceSystem(OHIO), QgsCoordinateReferenceSystem("EPSG:4326"), QgsProject.instance()
    )
    place = to_degrees.transform(QgsPointXY(ORIGIN[0], ORIGIN[1] + 150))
    ran = run("traceupstream", DRAINS=in_ohio(networks.a01_rows()), STRUCTURES=in_ohio([OUTLET]),
              POINT=f"{place.x():.9f},{place.y():.9f} [EPSG:4326]")
    assert ran["AREA_ABOVE"] == pytest.approx(2.5, abs=0.001)
    bare = run("traceupstream", DRAINS=in_ohio(networks.a01_rows()), STRUCTURES=in_ohio([OUTLET]),
               POINT=f"{ORIGIN[0]},{ORIGIN[1] + 150}")
    assert bare["AREA_ABOVE"] == pytest.approx(2.5, abs=0.001), "without a CRS it is that of the drains"


@pytest.mark.parametrize("algorithm", ["traceupstream", "tracedownstream"])
def test_a_point_far_from_any_pipe_is_refused_with_the_distance(algorithm):
    said = refusal(algorithm, DRAINS=in_ohio(networks.a01_rows()), POINT=point(0, -500))
    assert "No pipe lies within 98.4 ft of the point, the nearest is 500.0 ft away" in said
    dry = [b.main("M", (0, 0), (0, 300), status="abandoned")]
    assert "no pipe in the ground" in refusal(algorithm, DRAINS=in_ohio(dry), POINT=point(0, 0))


@pytest.mark.parametrize("crs", [OHIO, "EPSG:32122", "EPSG:26917"])
def test_a42_acres_above_a_place_in_three_crss(crs):
    """The scenario's place, reprojected by QGIS; acres within 0.1 %."""
    def moved(source):
        inputs = {"INPUT": source, "TARGET_CRS": QgsCoordinateReferenceSystem(crs), "OUTPUT": "memory:"}
        return processing.run("native:reprojectlayer", inputs)["OUTPUT"]

    ran = run("traceupstream", DRAINS=moved(in_ohio(networks.a01_rows())), STRUCTURES=moved(in_ohio([OUTLET])),
              POINT=point(0, 150), UNITS="us", JOIN_TOLERANCE=0.5)
    assert ran["AREA_ABOVE"] == pytest.approx(2.5, rel=1e-3)
    assert (ran["PIPE_COUNT"], ran["LATERAL_COUNT"]) == (4, 3)
    assert ran.drains("PIPES", at_point=False) == ["L2", "L3", "L4", "M3"]


def test_metric_numbers():
    rows = [dict(row, **({"spacing": 50 * 1200 / 3937} if "spacing" in row else {})) for row in networks.a01_rows()]
    ran = up(0, 150, rows, UNITS="metric")
    assert ran["LENGTH_ABOVE"] == pytest.approx(2328.0 * 1200 / 3937, abs=0.05)
    assert ran["AREA_ABOVE"] == pytest.approx(1.0117, abs=0.001)


def test_land_above_by_field_and_owner():
    land = in_ohio([b.box("W", -900, 0, 0, 400, name="west", owner="A", use="field"),
                    b.box("E", 0, 0, 900, 400, name="east", owner="B", use="field")])
    ran = up(0, 150, LAND=land)
    acres = {row["owner"]: row["area"] for row in ran.rows("LAND_ABOVE")}
    assert acres == {"A": pytest.approx(1.5, abs=0.001), "B": pytest.approx(1.0, abs=0.001)}
    ran = down(871, 200, LAND=land, LAND_CROSSED="memory:")
    crossed = {row["owner"]: row["length"] for row in ran.rows("LAND_CROSSED")}
    assert crossed == {"A": pytest.approx(200, abs=0.5), "B": pytest.approx(1071, abs=0.5)}, "on a line for both"


def test_constant_inflow_above_in_gallons_a_minute():
    spring = b.structure("SP", "constant_inflow", 0, 300, flow=4.0)
    ran = up(0, 150, STRUCTURES=in_ohio([OUTLET, spring]))
    assert ran["INFLOW_ABOVE"] == pytest.approx(4.0)
    metric = up(0, 150, STRUCTURES=in_ohio([OUTLET, dict(spring, flow=0.25)]), UNITS="metric")
    assert metric["INFLOW_ABOVE"] == pytest.approx(0.25)
    assert pytest.approx(3.785411784e-3) == GALLON_M3


@pytest.fixture(scope="module")
def sample(qgis_app, tmp_path_factory):
    path = tmp_path_factory.mktemp("a county ä") / "ossel flats.gpkg"
    write_archive(path)
    return path


def of(path, name):
    return f"{path}|layername={name}"


def test_a05_and_s5_1_on_the_sample_archive(sample):
    """Units come from the archive beside the drains; 54 acres at OB until the gap in main B is bridged."""
    inputs = {"DRAINS": of(sample, "drains"), "STRUCTURES": of(sample, "structures"), "LAND": of(sample, "land")}
    at_oa = run("traceupstream", **inputs, POINT=point(1000, 0))
    assert at_oa["AREA_ABOVE"] == pytest.approx(80.0, abs=0.001)
    assert at_oa["LATERAL_COUNT"] == 80
    assert at_oa["INFLOW_ABOVE"] == pytest.approx(4.0)
    owners = {row["owner"]: row["owner_area"] for row in at_oa.rows("LAND_ABOVE")}
    assert owners["Tarrowick Farm"] == pytest.approx(39.013, abs=0.001)
    assert owners["Meeting hall"] == pytest.approx(0.987, abs=0.001)
    assert owners["Ebbing Kiln Farm"] == pytest.approx(40.0, abs=0.001)
    at_ob = run("traceupstream", **inputs, POINT=point(4000, 0))
    assert at_ob["AREA_ABOVE"] == pytest.approx(54.0, abs=0.001)
    built = run("buildnetwork", DRAINS=inputs["DRAINS"], STRUCTURES=inputs["STRUCTURES"])
    assert built["NO_OUTLET_COUNT"] == 17, "16 laterals and the main piece above the gap"
    plug = run("traceupstream", **inputs, POINT=point(1000, 905))
    assert (plug["AREA_ABOVE"], plug["LATERAL_COUNT"]) == (pytest.approx(46.0, abs=0.001), 46)


def test_a44_looking_changes_nothing(sample, tmp_path):
    """Every network algorithm on a file in a folder that cannot be written to: all finish, the tables are the same."""
    folder = tmp_path / "read only"
    folder.mkdir()
    path = folder / "county.gpkg"
    shutil.copyfile(sample, path)
    before = content_hash(path)
    path.chmod(0o444)
    folder.chmod(0o555)
    try:
        inputs = {"DRAINS": of(path, "drains"), "STRUCTURES": of(path, "structures"), "SHOTS": of(path, "shots")}
        with permissions_hold():
            run("buildnetwork", **inputs, LIMITS=of(path, "limits"), ACCEPT_PROPOSED=True)
            run("traceupstream", **inputs, POINT=point(1000, 905), LAND=of(path, "land"))
            run("tracedownstream", **inputs, POINT=point(1000, 905), LAND=of(path, "land"), LAND_CROSSED="memory:")
    finally:
        folder.chmod(0o755)
        path.chmod(0o644)
    assert content_hash(path) == before


def test_a_selection_of_an_archive_keeps_the_units_and_limits_of_the_archive(sample, tmp_path):
    """And says how many of its lines were not seen."""
    drains = QgsVectorLayer(of(sample, "drains"), "drains", "ogr")
    QgsProject.instance().addMapLayer(drains)
    try:
        drains.selectByExpression("\"drain_id\" LIKE 'A-%' OR \"drain_id\" LIKE 'F1-%'")
        ran = run("traceupstream", DRAINS=QgsProcessingFeatureSourceDefinition(drains.id(), True),
                  STRUCTURES=of(sample, "structures"), POINT=point(1000, 0))
    finally:
        QgsProject.instance().removeMapLayer(drains.id())
    assert ran["AREA_ABOVE"] == pytest.approx(20.0, abs=0.001)
    assert ran.heard.sentence_with("not seen").startswith("133 lines")


def test_by_qgis_process(sample, tmp_path):
    """The command line of QGIS, with a plugin folder and a profile of its own."""
    program = shutil.which("qgis_process.bin") or shutil.which("qgis_process")
    assert program, "qgis_process is missing: it comes with the Debian package qgis, which make test installs"
    plugins, home = tmp_path / "plugins", tmp_path / "home"
    home.mkdir()
    shutil.copytree(ROOT, plugins / "fallkeeper", ignore=shutil.ignore_patterns(".*", "tests", "__pycache__", "*.gpkg"))
    environment = {
        **os.environ, "HOME": str(home), "QGIS_CUSTOM_CONFIG_PATH": str(home), "QT_QPA_PLATFORM": "offscreen",
        "QGIS_PLUGINPATH": str(plugins), "PYTHONPATH": sysconfig.get_path("purelib"),
    }

    def call(*words):
        return subprocess.run([program, *words], env=environment, capture_output=True, encoding="utf-8", timeout=120)

    enabled = call("plugins", "enable", "fallkeeper")
    assert enabled.returncode == 0, enabled.stderr
    inputs = {
        "DRAINS": of(sample, "drains"), "STRUCTURES": of(sample, "structures"), "POINT": point(1000, 905),
        "PIPES": tmp_path / "pipes.gpkg",
    }
    ran = call("run", "fallkeeper:traceupstream", "--json", "--", *(f"{key}={value}" for key, value in inputs.items()))
    assert ran.returncode == 0, ran.stderr
    results = json.loads(ran.stdout[ran.stdout.index("{"):])["results"]
    assert float(results["AREA_ABOVE"]) == pytest.approx(46.0, abs=0.001)
    assert int(results["LATERAL_COUNT"]) == 46
    assert QgsVectorLayer(str(tmp_path / "pipes.gpkg"), "pipes", "ogr").featureCount() > 46
