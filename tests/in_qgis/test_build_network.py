"""buildnetwork through Processing: known answers, units, CRSs, and layers as people bring them."""


import builders as b
import networks
import processing
import pytest
import shapely
from algorithm_runs import Heard, refusal, run
from ohio import OHIO, ORIGIN, in_ohio
from outside import data_file
from qgis.core import (
    NULL,
    QgsCoordinateReferenceSystem,
    QgsCoordinateTransform,
    QgsFeature,
    QgsPointXY,
    QgsProcessingContext,
    QgsProcessingFeatureSourceDefinition,
    QgsProcessingModelAlgorithm,
    QgsProcessingModelChildAlgorithm,
    QgsProcessingModelChildParameterSource,
    QgsProcessingModelOutput,
    QgsProcessingModelParameter,
    QgsProcessingParameterFeatureSource,
    QgsProject,
    QgsVectorLayer,
)
from qgis_layers import layer, rows_of

OUTLET = b.outlet(0, 0)


pytestmark = pytest.mark.usefixtures("provider")


def build(rows, outlets=(OUTLET,), **parameters):
    structures = {"STRUCTURES": in_ohio(list(outlets), "structures")} if outlets else {}
    return run("buildnetwork", DRAINS=in_ohio(rows, "drains"), **structures, **parameters)


def pipes_by_drain(ran):
    return {row["drain_id"]: row for row in ran.rows("PIPES")}


def test_a01_pipes_nodes_and_numbers():
    ran = build(networks.a01_rows())
    pipes = pipes_by_drain(ran)
    assert {k: round(p["area_above"], 3) for k, p in pipes.items()} == {
        "M1": 3.5, "M2": 2.5, "M3": 0.5, "L1": 1.0, "L2": 1.0, "L3": 1.0, "L4": 0.5,
    }
    assert pipes["M1"]["length_above"] == pytest.approx(300 + 3 * 871.2 + 435.6, abs=0.1)
    assert pipes["L1"]["length"] == pytest.approx(871.2, abs=1e-4)
    assert (pipes["L1"]["station_from"], pipes["L1"]["station_to"]) == (0, pytest.approx(871.2, abs=1e-4))
    assert pipes["M1"]["from_node"] == pipes["M2"]["to_node"] == pipes["L1"]["to_node"]
    assert {p["system"] for p in pipes.values()} == {1}
    assert (ran["PIPE_COUNT"], ran["SYSTEM_COUNT"], ran["PROPOSED_JOINT_COUNT"]) == (7, 1, 0)
    assert (ran["LOOSE_END_COUNT"], ran["NO_OUTLET_COUNT"]) == (0, 0)
    kinds = [row["kind"] for row in ran.rows("NODES")]
    assert sorted(kinds) == ["end"] * 4 + ["joint"] * 3 + ["outlet"]
    assert ran.heard.warnings == []


def test_pipes_are_drawn_in_flow_direction_so_that_arrows_tell_the_truth():
    ran = build(networks.a01_rows(upward=True))
    for feature in ran["PIPES"].getFeatures():
        line = feature.geometry().asPolyline()
        if feature["role"] == "main":
            assert line[0].y() > line[-1].y()
        else:
            assert abs(line[-1].x() - ORIGIN[0]) < 0.01


def test_a02_used_against_drawing_direction():
    ran = build(networks.a01_rows(upward=True, inverts=(95.0, 95.1, 95.2, 95.3)))
    assert ran.findings("against-drawing") == ["L1", "M1", "M2", "M3"]
    assert ran.drains("PIPES", against_drawing=True) == ["L1", "M1", "M2", "M3"]
    assert {p["grade_call"] for p in ran.rows("PIPES") if p["role"] == "main"} == {"falls"}
    assert ran.findings("elevation-contradicts-outlet") == []
    assert all(row["severity"] == "note" for row in ran.rows("LINE_FINDINGS"))


def test_a02_an_only_outlet_at_the_high_end_is_a_contradiction():
    ran = build(networks.a01_rows(upward=True, inverts=(95.3, 95.2, 95.1, 95.0)))
    assert ran.findings("elevation-contradicts-outlet") == ["M1", "M2", "M3"]
    assert "falls" not in {p["grade_call"] for p in ran.rows("PIPES")}


def test_a41_a_pipe_without_inverts_is_unknown_and_its_neighbours_lend_none():
    rows = networks.a01_rows(upward=True, inverts=(95.0, 95.1, 95.2, 95.3))
    rows[1].update(invert_start=None, invert_end=None)
    pipes = pipes_by_drain(build(rows))
    assert {k: pipes[k]["grade_call"] for k in ("M1", "M2", "M3")} == {"M1": "falls", "M2": "unknown", "M3": "falls"}
    assert pipes["M2"]["p_reverse"] == NULL
    assert pipes["M2"]["area_above"] == pytest.approx(2.5, abs=0.001)


def test_a03_proposed_loose_joined_and_crossing():
    ran = build(networks.a03_rows(), JOIN_TOLERANCE=5)
    (proposed,) = [r for r in ran.rows("POINT_FINDINGS") if r["check"] == "proposed-joint"]
    assert (proposed["drain_id"], proposed["unit"]) == ("P", "ft")
    assert (proposed["value"], proposed["limit"]) == (pytest.approx(3.0, abs=0.05), 5.0)
    (loose,) = [r for r in ran.rows("POINT_FINDINGS") if r["check"] == "loose-end"]
    assert (loose["drain_id"], loose["value"]) == ("Q", pytest.approx(12.0, abs=0.05))
    assert len([r for r in ran.rows("POINT_FINDINGS") if r["check"] == "crossing-not-joined"]) == 1
    assert (ran["PROPOSED_JOINT_COUNT"], ran["LOOSE_END_COUNT"], ran["NO_OUTLET_COUNT"]) == (1, 1, 3)
    assert ran.findings("no-outlet") == ["P", "Q", "S"]
    accepted = build(networks.a03_rows(), JOIN_TOLERANCE=5, ACCEPT_PROPOSED=True)
    assert (accepted["PROPOSED_JOINT_COUNT"], accepted["NO_OUTLET_COUNT"]) == (0, 2)
    assert accepted.findings("no-outlet") == ["Q", "S"]


def test_the_first_thing_said_is_what_reaches_no_outlet_and_what_to_do():
    warnings = build(networks.a03_rows(), JOIN_TOLERANCE=5).heard.warnings
    assert warnings[0].startswith("1 of 5 drains reach no outlet until the proposed joints are accepted.")
    assert warnings[1].startswith("2 of 5 drains reach no outlet even then")


def test_a04_ring_and_split():
    ran = build(networks.a04_rows(), [b.outlet(400, -100, "O1"), b.outlet(600, -100, "O2")])
    assert ran.findings("loop") == ["AB", "BC", "CA"]
    assert len([r for r in ran.rows("POINT_FINDINGS") if r["check"] == "split"]) == 1
    pipes = pipes_by_drain(ran)
    assert pipes["S1"]["area_above"] == pipes["S2"]["area_above"] == pytest.approx(1.5, abs=0.001)
    assert ran.findings("no-outlet") == ["AB", "BC", "CA"]


def test_every_finding_says_what_is_wrong_and_what_to_do():
    ran = build([*networks.a03_rows(), *networks.a04_rows()], JOIN_TOLERANCE=5)
    found = [*ran.rows("LINE_FINDINGS"), *ran.rows("POINT_FINDINGS")]
    assert len({row["check"] for row in found}) >= 6
    for row in found:
        assert row["title"] and row["remedy"].endswith(".") and row["source"]
        assert row["severity"] in ("serious", "doubt", "note")
        assert row["call"] in ("found", "reverse", "cannot_tell", "unknown")


@pytest.mark.parametrize(
    ("crs", "foot_m"),
    [
        (OHIO, None),  # US survey foot
        ("EPSG:2222", None),  # international foot
        ("EPSG:32122", 0.3048),
        ("EPSG:26917", 0.3048),
    ],
)
def test_a42_the_same_answer_in_every_crs(crs, foot_m):
    """A01 drawn in a CRS in feet or in metres: figures are feet of the layer itself, or metres and hectares."""
    scale, acre = (1.0, 1.0) if foot_m is None else (foot_m, 0.40468564224)
    rows = [dict(row, **({"spacing": 50 * scale} if "spacing" in row else {})) for row in networks.a01_rows()]
    at = {"scale": scale, "origin": tuple(scale * figure for figure in ORIGIN)}
    ran = run("buildnetwork", DRAINS=layer(rows, crs, **at), STRUCTURES=layer([OUTLET], crs, **at))
    pipes = pipes_by_drain(ran)
    for drain, acres in {"M1": 3.5, "M2": 2.5, "M3": 0.5, "L1": 1.0, "L4": 0.5}.items():
        assert pipes[drain]["area_above"] == pytest.approx(acres * acre, rel=1e-3)
    assert ran["SYSTEM_COUNT"] == 1
    assert ran["PIPES"].crs().authid() == crs
    assert pipes["L1"]["length"] == pytest.approx(871.2 * scale, rel=1e-7)


def test_a42_a_reprojected_layer_gives_the_same_answer():
    """The scenario's place in three CRSs, by QGIS's own transformation."""
    drawn = in_ohio(networks.a01_rows())
    answers = {}
    for crs in (OHIO, "EPSG:32122", "EPSG:26917"):
        target = QgsCoordinateReferenceSystem(crs)
        transform = QgsCoordinateTransform(drawn.crs(), target, QgsProject.instance())
        moved = QgsVectorLayer(f"LineString?crs={crs}", "drains", "memory")
        moved.dataProvider().addAttributes(drawn.fields().toList())
        moved.updateFields()
        features = []
        for feature in drawn.getFeatures():
            shape = feature.geometry()
            shape.transform(transform)
            copy = QgsFeature(feature)
            copy.setGeometry(shape)
            features.append(copy)
        moved.dataProvider().addFeatures(features)
        ran = run("buildnetwork", DRAINS=moved, STRUCTURES=in_ohio([OUTLET]), UNITS="us", JOIN_TOLERANCE=1)
        answers[crs] = {k: p["area_above"] for k, p in pipes_by_drain(ran).items()}
        assert ran["NO_OUTLET_COUNT"] == 0
    for crs, acres in answers.items():
        assert acres == pytest.approx(answers[OHIO], rel=1e-3), crs


def test_units_may_be_chosen_and_tolerances_follow_them():
    ran = run("buildnetwork", DRAINS=in_ohio(networks.a03_rows()), STRUCTURES=in_ohio([OUTLET]), UNITS="metric",
              JOIN_TOLERANCE=0.95)
    (proposed,) = [r for r in ran.rows("POINT_FINDINGS") if r["check"] == "proposed-joint"]
    assert (proposed["unit"], proposed["value"]) == ("m", pytest.approx(0.914, abs=0.001))
    assert {round(p["length"], 2) for p in ran.rows("PIPES") if p["drain_id"] == "P"} == {30.48}


def test_the_default_tolerance_is_a_foot_or_30_centimetres():
    def near(gap):
        return [b.main("M", (0, 0), (0, 300)), b.lateral("P", (103, 150), (gap, 150))]

    assert build(near(0.99))["PROPOSED_JOINT_COUNT"] == 1
    assert build(near(1.01))["PROPOSED_JOINT_COUNT"] == 0
    metric = run("buildnetwork", DRAINS=layer(near(0.31), "EPSG:26917"))
    assert metric["PROPOSED_JOINT_COUNT"] == 0
    assert run("buildnetwork", DRAINS=layer(near(0.29), "EPSG:26917"))["PROPOSED_JOINT_COUNT"] == 1


@pytest.mark.parametrize("algorithm", ["buildnetwork", "traceupstream", "tracedownstream"])
def test_degrees_are_refused_with_what_to_do(algorithm):
    point = {} if algorithm == "buildnetwork" else {"POINT": "-82.0,41.8"}
    drains = layer([b.main("M", (-82.0, 41.8), (-82.0, 41.81))], "EPSG:4326", "my drains")
    said = refusal(algorithm, DRAINS=drains, JOIN_TOLERANCE=5, **point)
    assert "'my drains' is in degrees (EPSG:4326)" in said
    assert "save it in a projected CRS" in said


@pytest.mark.parametrize("algorithm", ["buildnetwork", "traceupstream", "tracedownstream"])
def test_a_layer_without_crs_is_refused_with_what_to_do(algorithm):
    point = {} if algorithm == "buildnetwork" else {"POINT": "0,0"}
    said = refusal(algorithm, DRAINS=layer([b.main("M", (0, 0), (0, 300))], "", "my drains"), **point)
    assert "'my drains' has no coordinate reference system: set the one" in said


def test_only_selected_lines_are_seen_and_it_says_how_many_were_not():
    drains = in_ohio(networks.a01_rows(), "drains")
    QgsProject.instance().addMapLayer(drains)
    try:
        drains.selectByExpression("\"role\" = 'main'")
        selected = QgsProcessingFeatureSourceDefinition(drains.id(), True)
        ran = run("buildnetwork", DRAINS=selected, STRUCTURES=in_ohio([OUTLET]))
    finally:
        QgsProject.instance().removeMapLayer(drains.id())
    assert ran["PIPE_COUNT"] == 3
    assert ran.heard.sentence_with("not seen").startswith("4 lines")


def test_a_filtered_layer_says_how_many_lines_were_not_seen():
    drains = in_ohio(networks.a01_rows(), "drains")
    drains.setSubsetString("\"role\" = 'main'")
    ran = run("buildnetwork", DRAINS=drains, STRUCTURES=in_ohio([OUTLET]))
    assert ran["PIPE_COUNT"] == 3
    assert ran.heard.sentence_with("not seen").startswith("4 lines")


def test_edits_that_are_not_saved_count_as_drawn():
    drains = in_ohio(networks.a01_rows(), "drains")
    drains.startEditing()
    (l1,) = [f for f in drains.getFeatures() if f["drain_id"] == "L1"]
    drains.deleteFeature(l1.id())
    (l4,) = [f for f in drains.getFeatures() if f["drain_id"] == "L4"]
    drains.changeAttributeValue(l4.id(), drains.fields().lookupField("spacing"), 100.0)
    ran = run("buildnetwork", DRAINS=drains, STRUCTURES=in_ohio([OUTLET]))
    assert pipes_by_drain(ran)["L4"]["area_above"] == pytest.approx(1.0, abs=0.001)
    assert "L1" not in pipes_by_drain(ran)
    assert drains.isEditable() and drains.isModified()
    drains.rollBack()


def test_structures_in_another_crs_are_brought_to_that_of_the_drains():
    to_degrees = QgsCoordinateTransform(
        QgsCoordinateReferenceSystem(OHIO), QgsCoordinateReferenceSystem("EPSG:4326"), QgsProject.instance()
    )
    place = to_degrees.transform(QgsPointXY(*ORIGIN))
    outlet = layer([b.outlet(place.x(), place.y(), "O")], "EPSG:4326", "structures")
    ran = run("buildnetwork", DRAINS=in_ohio(networks.a01_rows()), STRUCTURES=outlet)
    assert ran["NO_OUTLET_COUNT"] == 0
    assert [row["name"] for row in ran.rows("NODES") if row["kind"] == "outlet"] == ["O"]


def test_structures_without_crs_are_taken_where_they_stand_and_it_is_said():
    outlet = layer([OUTLET], "", "my marks", origin=ORIGIN)
    ran = run("buildnetwork", DRAINS=in_ohio(networks.a01_rows()), STRUCTURES=outlet)
    assert ran["NO_OUTLET_COUNT"] == 0
    assert "that of the drains" in ran.heard.sentence_with("'my marks'", "no coordinate reference system")


def limits_table(*rows):
    table = QgsVectorLayer("NoGeometry?field=name:string&field=value:double&field=unit:string&field=source:string",
                           "limits", "memory")
    features = []
    for row in rows:
        feature = QgsFeature(table.fields())
        feature.setAttributes(list(row))
        features.append(feature)
    table.dataProvider().addFeatures(features)
    return table


def test_a_table_of_limits_is_obeyed():
    """The exact joint widened to 4 ft joins P without asking."""
    ran = build(networks.a03_rows(), JOIN_TOLERANCE=5, LIMITS=limits_table(("exact_joint", 4.0, "ft", "our office")))
    assert ran["PROPOSED_JOINT_COUNT"] == 0
    assert ran.findings("no-outlet") == ["Q", "S"]


def test_a_limit_that_cannot_be_read_is_named():
    for row, words in (
        (("least_covr", 2.0, "ft", ""), ("least_covr", "correct the name")),
        (("least_cover", 2.0, "acre", ""), ("least_cover", "acre")),
        (("least_cover", None, "ft", ""), ("least_cover", "no number")),
    ):
        said = refusal("buildnetwork", DRAINS=in_ohio(networks.a03_rows()), LIMITS=limits_table(row))
        assert all(word in said for word in words), said


def test_fields_of_other_names():
    rows = [{"nr": 100 + k, "what": row["role"], "called": f"pipe {row['drain_id']}", "geometry": row["geometry"]}
            for k, row in enumerate(networks.a01_rows())]
    ran = run("buildnetwork", DRAINS=in_ohio(rows), STRUCTURES=in_ohio([OUTLET]), ID_FIELD="nr", NAME_FIELD="called",
              ROLE_FIELD="what")
    pipes = pipes_by_drain(ran)
    assert set(pipes) == {str(100 + k) for k in range(7)}, "whole numbers keep no point"
    assert pipes["100"]["name"] == "pipe M1"
    assert pipes["103"]["role"] == "lateral"
    assert pipes["103"]["area_above"] == pytest.approx(2.0, abs=0.001), "100 ft from its neighbour, so at that spacing"


def test_a_layer_with_nothing_but_lines():
    rows = [{"geometry": row["geometry"]} for row in networks.a01_rows()]
    ran = run("buildnetwork", DRAINS=in_ohio(rows), STRUCTURES=in_ohio([OUTLET]))
    pipes = pipes_by_drain(ran)
    assert set(pipes) == {f"line {k}" for k in range(1, 8)}, "called by the number of the feature"
    assert {p["role"] for p in pipes.values()} == {NULL}
    assert {p["area_above"] for p in pipes.values()} == {0}, "without role and spacing no pipe serves land"
    assert pipes["line 1"]["length_above"] == pytest.approx(300 + 3 * 871.2 + 435.6, abs=0.1)
    assert "give each a key" in ran.heard.sentence_with("Drain 'line 1' and 6 more have no keys")


def test_a_layer_with_elevations():
    """Z is an invert where an instrument located the pipe, and nowhere else."""
    drawn = [b.pipe("M", (0, 0), (0, 300))]
    drawn[0]["geometry"] = shapely.LineString([(*ORIGIN, 95.0), (ORIGIN[0], ORIGIN[1] + 300, 95.3)])
    for located, call in (("rtk", "falls"), (None, "unknown")):
        rows = [{**drawn[0], "located_by": located, "role": "main"}]
        drains = layer(rows, OHIO)
        ran = run("buildnetwork", DRAINS=drains, STRUCTURES=in_ohio([OUTLET]))
        assert [p["grade_call"] for p in ran.rows("PIPES")] == [call]


def test_sinks_nobody_asks_for_are_not_made():
    ran = run("buildnetwork", DRAINS=in_ohio(networks.a01_rows()), PIPES=None, NODES=None, LINE_FINDINGS=None)
    assert ran["PIPES"] is None and ran["NODES"] is None and ran["LINE_FINDINGS"] is None
    assert ran["PIPE_COUNT"] == 7


def test_results_in_a_geopackage(tmp_path):
    path = tmp_path / "Ergebnis mit Leerzeichen.gpkg"
    ran = build(networks.a01_rows(), PIPES=str(path))
    made = QgsVectorLayer(ran["PIPES"], "pipes", "ogr")
    assert made.isValid()
    assert {row["drain_id"] for row in rows_of(made)} == {"M1", "M2", "M3", "L1", "L2", "L3", "L4"}
    assert made.crs().authid() == OHIO


def test_canceling_ends_with_a_sentence_and_leaves_the_input_alone():
    class Stopping(Heard):
        def isCanceled(self):
            return True

    drains = in_ohio(networks.a01_rows())
    said = refusal("buildnetwork", Stopping(), DRAINS=drains)
    assert "Canceled" in said
    assert drains.featureCount() == 7


def test_as_a_step_of_a_model():
    model = QgsProcessingModelAlgorithm("model", "group")
    for name in ("lines", "marks"):
        model.addModelParameter(QgsProcessingParameterFeatureSource(name), QgsProcessingModelParameter(name))
    child = QgsProcessingModelChildAlgorithm("fallkeeper:buildnetwork")
    child.setChildId("network")
    for key, name in (("DRAINS", "lines"), ("STRUCTURES", "marks")):
        child.addParameterSources(key, [QgsProcessingModelChildParameterSource.fromModelParameter(name)])
    child.addParameterSources("UNITS", [QgsProcessingModelChildParameterSource.fromStaticValue("us")])
    output = QgsProcessingModelOutput("pipes")
    output.setChildOutputName("PIPES")
    child.setModelOutputs({"pipes": output})
    model.addChildAlgorithm(child)
    heard, context = Heard(), QgsProcessingContext()
    drains, structures = in_ohio(networks.a01_rows()), in_ohio([OUTLET])
    results, done = model.run(
        {"lines": drains, "marks": structures, "network:pipes": "memory:"}, context, heard
    )
    assert done, heard.errors
    pipes = context.getMapLayer(results["network:pipes"])
    assert {row["drain_id"] for row in rows_of(pipes)} == {"M1", "M2", "M3", "L1", "L2", "L3", "L4"}
    assert results["CHILD_RESULTS"]["network"]["PIPE_COUNT"] == 7


def test_the_river_sample_is_refused_in_degrees_and_taken_in_metres():
    """Reaches of a river in another layer of lines: a layer that has nothing of an archive."""
    river = QgsVectorLayer(str(data_file("river_network_walker.gpkg")), "river", "ogr")
    assert "is in degrees" in refusal("buildnetwork", DRAINS=river)
    flat = processing.run(
        "native:reprojectlayer", {"INPUT": river, "TARGET_CRS": "EPSG:26910", "OUTPUT": "memory:"}
    )["OUTPUT"]
    ran = run("buildnetwork", DRAINS=flat, ID_FIELD="COMID")
    assert (ran["PIPE_COUNT"], ran["SYSTEM_COUNT"]) == (62, 1)
    assert ran["NO_OUTLET_COUNT"] == 62, "nobody marked an outlet, and without roles none is assumed"
