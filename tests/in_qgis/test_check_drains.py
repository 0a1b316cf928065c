"""checkdrains through Processing: the sample county, other units and grounds, and what must not happen."""

import dataclasses
import hashlib
import shutil
from collections import Counter

import builders as b
import numpy as np
import processing
import pytest
from fallkeeper.plugin.checks import catalogue
from fallkeeper.sample_project import rows
from fallkeeper.sample_project.build_sample import write_archive, write_ground
from osgeo import gdal, osr
from permissions import permissions_hold
from qgis.core import (
    NULL,
    QgsFeature,
    QgsProcessingContext,
    QgsProcessingException,
    QgsProcessingModelAlgorithm,
    QgsProcessingModelChildAlgorithm,
    QgsProcessingModelChildParameterSource,
    QgsProcessingModelOutput,
    QgsProject,
    QgsVectorLayer,
)
from qgis_layers import layer, rows_of
from running import Heard, county_layers

SINKS = ("LINE_FINDINGS", "POINT_FINDINGS", "NOT_CHECKED")
UTM = "EPSG:26917"
FEET, INTERNATIONAL_FEET = rows.CRS, "EPSG:2256"
ALWAYS_FOUND = {"near-trees": 14, "smaller-downstream": 1, "outlet-unguarded": 2, "under-lot": 4}


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


def run(feedback=None, **inputs):
    """The results, with `said`, and every sink as a list of rows."""
    heard = feedback or Heard()
    result = processing.run("fallkeeper:checkdrains", {**dict.fromkeys(SINKS, "memory:"), **inputs}, feedback=heard)
    told = {key: rows_of(result[key]) for key in SINKS if result[key]}
    return {**result, **told, "said": heard.said, "layers": {key: result[key] for key in SINKS}}


def findings(result):
    return result["LINE_FINDINGS"] + result["POINT_FINDINGS"]


def counts(result):
    return dict(Counter(row["check"] for row in findings(result)))


def of_check(result, check):
    return sorted((row for row in findings(result) if row["check"] == check), key=lambda row: row["drain_id"] or "")


def in_memory(made):
    """County layers in memory as inputs."""
    return {
        "DRAINS": made["drains"], "STRUCTURES": made["structures"], "LAND": made["land"], "TREES": [made["tree_rows"]]
    }


def write_raster(path, crs, cells, left, top, cell):
    reference = osr.SpatialReference()
    reference.ImportFromEPSG(int(crs.split(":")[1]))
    made = gdal.GetDriverByName("GTiff").Create(str(path), cells.shape[1], cells.shape[0], 1, gdal.GDT_Float32)
    made.SetGeoTransform((left, cell, 0, top, 0, -cell))
    made.SetProjection(reference.ExportToWkt())
    made.GetRasterBand(1).SetNoDataValue(-9999)
    made.GetRasterBand(1).WriteRaster(0, 0, cells.shape[1], cells.shape[0], cells.astype("float32").tobytes())
    return str(path)


def test_the_sample(sample, tmp_path):
    result = run(**sample, REPORT=str(tmp_path / "prüfung.html"))
    assert counts(result) == {**ALWAYS_FOUND, "no-outlet": 17, "loose-end": 1, "against-drawing": 5}
    assert result["FINDING_COUNT"] == len(findings(result)) == 44
    assert result["CRASHED_COUNT"] == 0 and result["NOT_CHECKED_COUNT"] == len(result["NOT_CHECKED"])
    assert {row["drain_id"] for row in of_check(result, "no-outlet") if row["drain_id"] != "B-3"} == {
        f"F{field}-{k}" for field in (7, 8) for k in range(10, 18)
    }
    (loose,) = of_check(result, "loose-end")
    assert (loose["drain_id"], loose["value"], loose["unit"], loose["severity"]) == ("B-3", 80.0, "ft", "serious")
    lots = of_check(result, "under-lot")
    assert [(row["drain_id"], row["value"]) for row in lots] == [(f"F2-{k}", 200.0) for k in (17, 18, 19, 20)]
    near = {row["drain_id"]: row for row in of_check(result, "near-trees")}
    assert {key for key in near if key.startswith("F")} == {f"F{f}-{k}" for f in (1, 2) for k in range(15, 21)}
    assert near["A-1"]["station_from"] == pytest.approx(766.33, abs=0.1)
    assert any("17 of 155 drains reach no outlet" in said for said in result["said"])
    serious = sum(row["severity"] == "serious" for row in findings(result))
    assert any(f"Findings: 44, {serious} of them serious." in said for said in result["said"])


def test_the_sample_with_the_gap_bridged(sample):
    made = county_layers(bridged=True)
    result = run(**{**sample, **in_memory(made)})
    assert counts(result) == {**ALWAYS_FOUND, "against-drawing": 6, "flat-grade": 1}
    (narrow,) = of_check(result, "smaller-downstream")
    assert (narrow["drain_id"], narrow["value"], narrow["limit"], narrow["unit"]) == ("B-1", 10.0, 12.0, "in")


def test_findings_have_the_public_columns_and_shapes_of_the_place(sample):
    result = run(**sample)
    names = ["check", "call", "severity", "title", "remedy", "drain_id", "name", "station_from", "station_to", "value",
             "limit", "unit", "probability", "source"]
    for key in ("LINE_FINDINGS", "POINT_FINDINGS"):
        assert [name for name in result["layers"][key].fields().names() if name in names] == names
        assert result["layers"][key].crs().authid() == FEET
    lot = next(f for f in result["layers"]["LINE_FINDINGS"].getFeatures() if f["check"] == "under-lot")
    assert lot.geometry().length() == pytest.approx(200, abs=1e-6)
    loose = next(f for f in result["layers"]["POINT_FINDINGS"].getFeatures() if f["check"] == "loose-end")
    point = loose.geometry().asPoint()
    assert (point.x(), point.y()) == pytest.approx((2_104_000, 801_690))


def test_what_was_not_checked(sample):
    result = run(**sample)
    told = {(row["check"], row["drain_id"]) for row in result["NOT_CHECKED"]}
    assert told == {("outlet-unguarded", "A-1"), ("outlet-unguarded", "B-1"), ("overloaded", NULL)}
    assert result["layers"]["NOT_CHECKED"].fields().names()[:2] == ["check", "drain_id"]
    assert all(row["why"].endswith(".") for row in result["NOT_CHECKED"])


def test_without_surroundings_whole_checks_are_one_row_each(sample):
    result = run(DRAINS=sample["DRAINS"])
    whole = {row["check"] for row in result["NOT_CHECKED"] if row["drain_id"] == NULL}
    assert {"near-trees", "under-lot", "shallow-cover", "deep-trench", "overloaded"} <= whole
    assert result["NOT_CHECKED_COUNT"] < 20


def test_drains_with_nothing_but_geometry():
    lines = [{"geometry": row["geometry"]} for row in (b.main("M", (0, 0), (0, 300)), b.main("L", (90, 50), (0, 50)))]
    result = run(DRAINS=layer(lines, FEET, origin=rows.ORIGIN_FT))
    assert [row["drain_id"] for row in of_check(result, "unknown-elevation")] == ["line 1", "line 2"]
    assert result["CRASHED_COUNT"] == 0 and of_check(result, "unknown-size")


def test_only_the_checks_asked_for(sample):
    result = run(**sample, CHECKS=["under-lot", "loose-end"])
    assert counts(result) == {"under-lot": 4, "loose-end": 1}
    assert result["NOT_CHECKED"] == []
    assert counts(run(**sample, CHECKS=[])) == counts(run(**sample))


def test_the_report(sample, tmp_path):
    page = tmp_path / "Bericht für Ossel.html"
    result = run(**sample, REPORT=str(page))
    words = page.read_text(encoding="utf-8")
    assert result["REPORT"] == str(page)
    order = [words.index(said) for said in (
        "<h2>In short", "44 findings", "<h2>Findings, worst first", "<h2>Not checked, and why", "Load and size",
        "<h2>Before you act on this page", "Locate buried utilities",
        "<h2>Data and limits",
    )]
    assert order == sorted(order)
    assert "<script" not in words and "B-3" in words and "80.0 ft from Main B (B-2)" in words


def test_without_a_place_for_it_no_report_is_written(sample):
    assert not run(**sample).get("REPORT")


def test_a_check_that_crashes_is_counted_and_the_others_go_on(sample, tmp_path, monkeypatch):
    def broken(case):
        raise ZeroDivisionError("by nothing")

    made = [dataclasses.replace(c, function=broken) if c.id == "under-lot" else c for c in catalogue.CHECKS]
    monkeypatch.setattr(catalogue, "CHECKS", tuple(made))
    result = run(**sample, REPORT=str(tmp_path / "page.html"))
    assert result["CRASHED_COUNT"] == 1 and result["FINDING_COUNT"] == 40
    assert any("under-lot" in said and "ZeroDivisionError" in said for said in result["said"])
    assert "Checks that broke off" in (tmp_path / "page.html").read_text(encoding="utf-8")


def strict_run(crs):
    """The sample with so great a least velocity that every pipe is too flat and tells its grade."""
    limits = QgsVectorLayer("NoGeometry?field=name:string&field=value:double&field=unit:string", "limits", "memory")
    feature = QgsFeature(limits.fields())
    feature.setAttributes(["least_velocity", 2.0, "ft/s"])
    limits.dataProvider().addFeatures([feature])
    return run(**in_memory(county_layers(crs, bridged=True)), LIMITS=limits)


@pytest.mark.parametrize("crs", [INTERNATIONAL_FEET, "EPSG:32122", UTM])
def test_survey_feet_international_feet_and_metres_give_the_same(crs):
    feet, other = strict_run(FEET), strict_run(crs)
    assert counts(feet) == counts(other) and counts(feet)["flat-grade"] > 100
    metric = crs != INTERNATIONAL_FEET
    length = 0.3048006096 if metric else 1.000002
    for one, two in zip(of_check(feet, "flat-grade"), of_check(other, "flat-grade")):
        assert one["drain_id"] == two["drain_id"] and one["unit"] == two["unit"] == "%"
        assert one["value"] == pytest.approx(0.1, abs=1e-4) and two["value"] == pytest.approx(one["value"], abs=1e-5)
        assert two["limit"] == pytest.approx(one["limit"], rel=1e-4)
        assert two["probability"] == pytest.approx(one["probability"], abs=1e-4)
        assert two["station_to"] == pytest.approx(one["station_to"] * length, abs=1e-3)
    (one,), (two,) = of_check(feet, "smaller-downstream"), of_check(other, "smaller-downstream")
    assert (one["value"], one["limit"], one["unit"]) == (10, 12, "in")
    assert (two["value"], two["unit"]) == ((pytest.approx(254), "mm") if metric else (pytest.approx(10), "in"))


def test_a_layer_in_degrees_is_refused():
    degrees = layer([b.main("M", (-82, 41), (-82, 41.01))], "EPSG:4326", "in degrees")
    with pytest.raises(QgsProcessingException, match="in degrees.*save it in a projected CRS"):
        run(DRAINS=degrees, JOIN_TOLERANCE=5)


def test_a_ground_in_feet_for_a_county_in_metres_is_one_finding_and_the_rest_works(tmp_path):
    made = county_layers(UTM)
    extent = made["drains"].extent()
    cells = np.full((60, 120), 700.0)  # feet, where metres are meant
    ground = write_raster(tmp_path / "ft.tif", UTM, cells, extent.xMinimum() - 100, extent.yMaximum() + 100, 20.0)
    result = run(**in_memory(made), GROUND=ground)
    (fault,) = of_check(result, "unknown-elevation")
    assert fault["severity"] == "serious" and "does not belong to these inverts" in fault["detail"]
    assert "look like feet: set GROUND_UNIT" in fault["detail"]
    assert {row["check"] for row in result["NOT_CHECKED"] if "does not belong" in row["why"]} == {
        "shallow-cover", "deep-trench"
    }
    assert counts(result) == {
        **ALWAYS_FOUND, "no-outlet": 17, "loose-end": 1, "against-drawing": 5, "unknown-elevation": 1
    }
    right = run(**in_memory(made), GROUND=ground, GROUND_UNIT="ft")
    assert not of_check(right, "unknown-elevation") and not [r for r in right["NOT_CHECKED"] if "GROUND" in r["why"]]


def test_a_ground_smaller_than_the_network_and_with_a_hole_is_said_and_stays_unknown(sample, tmp_path):
    x, y = np.meshgrid(np.arange(0, 2000, 10) + 5, np.arange(1200, 0, -10) - 5)
    cells = 699.0 + 0.001 * y + 0.001 * np.abs(x - 1000)
    cells[(y > 500) & (y < 600)] = -9999
    ground = write_raster(tmp_path / "part.tif", FEET, cells, rows.ORIGIN_FT[0], rows.ORIGIN_FT[1] + 1200, 10.0)
    result = run(**{**sample, "GROUND": ground})
    assert any("ground is missing at" in said and "stays unknown" in said for said in result["said"])
    missed = {r["drain_id"] for r in result["NOT_CHECKED"] if r["check"] == "shallow-cover"}
    assert {"A-1", "A-2", "B-1", "F1-10", "F7-01"} <= missed and "F1-05" not in missed
    assert not of_check(result, "shallow-cover")


def test_nothing_is_changed_and_a_read_only_archive_will_do(sample, tmp_path):
    county = sample["DRAINS"].partition("|")[0]
    copy = tmp_path / "county.gpkg"
    shutil.copyfile(county, copy)
    copy.chmod(0o444)
    before = hashlib.sha256(copy.read_bytes()).hexdigest()
    inputs = {
        key: [one.replace(county, str(copy)) for one in value] if isinstance(value, list)
        else value.replace(county, str(copy))
        for key, value in sample.items()
    }
    with permissions_hold():
        assert run(**inputs)["FINDING_COUNT"] == 44
    assert hashlib.sha256(copy.read_bytes()).hexdigest() == before
    assert [path.name for path in tmp_path.iterdir()] == ["county.gpkg"]
    assert not QgsProject.instance().mapLayers()


@pytest.mark.parametrize("at", [0, 20, 60])
def test_it_can_be_canceled(sample, at):
    heard = Heard()
    if at:
        heard.progressChanged.connect(lambda progress: heard.cancel() if progress >= at else None)
    else:
        heard.cancel()
    with pytest.raises(QgsProcessingException, match="Canceled"):
        run(heard, **sample)


def test_it_runs_inside_a_model(sample):
    child = QgsProcessingModelChildAlgorithm("fallkeeper:checkdrains")
    child.setChildId("check")
    for key in ("DRAINS", "STRUCTURES", "LAND"):
        child.addParameterSources(key, [QgsProcessingModelChildParameterSource.fromStaticValue(sample[key])])
    wanted = QgsProcessingModelOutput("Lines", "Lines")
    wanted.setChildId("check")
    wanted.setChildOutputName("LINE_FINDINGS")
    child.setModelOutputs({"Lines": wanted})
    model = QgsProcessingModelAlgorithm("Check", "models")
    model.addChildAlgorithm(child)
    model.initAlgorithm()
    name = model.outputDefinitions()[0].name()
    result = processing.run(model, {name: "memory:"}, context=QgsProcessingContext(), feedback=Heard())
    assert Counter(row["check"] for row in rows_of(result[name]))["under-lot"] == 4


def test_every_parameter_is_explained(provider):
    algorithm = provider.algorithm("checkdrains")
    assert all(parameter.help() for parameter in algorithm.parameterDefinitions())
    assert {output.name() for output in algorithm.outputDefinitions()} == {
        *SINKS, "REPORT", "FINDING_COUNT", "NOT_CHECKED_COUNT", "CRASHED_COUNT", "ACCEPTED_COUNT",
    }
