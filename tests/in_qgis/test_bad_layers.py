"""Layers as people bring them: each fault gives one sentence that names the feature and the remedy, the rest works,
and the layer stays as it was."""

import builders as b
import numpy as np
import pytest
import shapely
from algorithm_runs import refusal, run
from ohio import OHIO, ORIGIN
from qgis.core import QgsFeature, QgsGeometry, QgsVectorLayer
from qgis_layers import layer

MAIN = b.main("M", (0, 0), (0, 300))
GOOD = [MAIN, b.lateral("R", (100, 50), (0, 50))]
OUTLET = b.outlet(0, 0)


pytestmark = pytest.mark.usefixtures("provider")


def contents(source):
    """All of a layer, geometry to the bit."""
    return [(f.id(), [str(v) for v in f.attributes()], f.geometry().asWkb().data()) for f in source.getFeatures()]


class Outcome:
    def __init__(self, rows, outlets=(OUTLET,), **parameters):
        drains = rows if isinstance(rows, QgsVectorLayer) else layer(rows, OHIO, "drains", origin=ORIGIN)
        marks = {"STRUCTURES": layer(list(outlets), OHIO, "structures", origin=ORIGIN)} if outlets else {}
        before = contents(drains)
        self.ran = run("buildnetwork", DRAINS=drains, **marks, **parameters)
        assert contents(drains) == before

    @property
    def sentences(self):
        """Warnings, and findings as a person reads them."""
        found = [*self.ran.rows("LINE_FINDINGS"), *self.ran.rows("POINT_FINDINGS")]
        return self.ran.heard.warnings + [
            f"{row['drain_id']}: {row['title']} ({row['detail']}). {row['remedy']}" for row in found
        ]

    def says(self, *words):
        assert any(all(word in sentence for word in words) for sentence in self.sentences), self.sentences
        return self

    def warns_once(self, *words):
        self.ran.heard.sentence_with(*words)
        return self

    @property
    def joined(self):
        """Drains that reach an outlet."""
        lacking = self.ran.findings("no-outlet")
        return {row["drain_id"] for row in self.ran.rows("PIPES")} - set(lacking)


def test_an_empty_layer():
    said = refusal("buildnetwork", DRAINS=layer([], OHIO, "drains"))
    assert "'drains' holds no lines: choose a layer with drains, or clear the selection or filter" in said


def test_a_drain_in_several_parts():
    parts = {"geometry": shapely.MultiLineString([[(100, 50), (60, 50)], [(50, 50), (0, 50)]])}
    rows = [dict(row, geometry=shapely.MultiLineString([row["geometry"]])) for row in [MAIN]]
    outcome = Outcome([*rows, b.lateral("R", (0, 0), (1, 1)) | parts]).warns_once("Drain 'R'", "several parts", "used")
    assert outcome.ran.findings("bad-geometry") == ["R", "R"]
    assert "M" in outcome.joined


def test_a_line_without_length():
    outcome = Outcome([*GOOD, b.lateral("dot", (9, 9), (9, 9))])
    outcome.warns_once("Drain 'dot'", "no length", "redraw it")
    assert outcome.joined == {"M", "R"}


def test_a_feature_without_geometry():
    outcome = Outcome([*GOOD, b.lateral("ghost", (0, 0), (1, 1)) | {"geometry": None}])
    outcome.warns_once("Drain 'ghost'", "no geometry", "redraw it").says("ghost: Line could not be taken")
    assert outcome.joined == {"M", "R"}


@pytest.mark.parametrize("key", [None, "", "  "])
def test_a_drain_without_key(key):
    outcome = Outcome([MAIN, b.lateral(key, (100, 50), (0, 50))])
    outcome.warns_once("Drain 'line 2' has no key", "give each a key of its own")
    assert outcome.joined == {"M", "line 2"}


def test_a_key_used_twice():
    outcome = Outcome([*GOOD, b.lateral("R", (100, 150), (0, 150))])
    outcome.warns_once("The key 'R' is used by 2 drains", "give each its own")
    assert outcome.ran["PIPE_COUNT"] == 5, "both are in the network"
    assert outcome.ran["NO_OUTLET_COUNT"] == 0
    assert outcome.ran.findings("duplicate") == ["R", "R"]


def test_a_line_that_crosses_itself():
    knot = b.lateral("knot", (100, 90), (50, 90), (70, 130), (70, 60), (0, 150))
    outcome = Outcome([*GOOD, knot]).says("knot: Line could not be taken as it is drawn", "crosses itself", "Redraw")
    assert outcome.joined == {"M", "R", "knot"}


def test_the_same_line_twice():
    outcome = Outcome([*GOOD, b.main("N", (0, 300), (0, 0))])
    outcome.warns_once("Drain 'N' is drawn on drain 'M' and carries nothing: remove one")
    assert outcome.joined == {"M", "R"}
    assert outcome.ran.findings("loop") == []


def test_an_outlet_in_the_middle_of_a_line():
    outcome = Outcome([b.main("M", (0, -40), (0, 300)), GOOD[1]]).says("M: ", "outlet")
    (row,) = [r for r in outcome.ran.rows("LINE_FINDINGS") if r["check"] == "past-outlet"]
    assert (row["station_from"], row["station_to"]) == (0, pytest.approx(40, abs=0.01))
    assert outcome.joined == {"M", "R"}


def test_an_outlet_on_no_pipe():
    outcome = Outcome(GOOD, [OUTLET, b.outlet(50, 500, "far")])
    outcome.warns_once("Outlet 'far' lies on no pipe", "move it onto the pipe")
    assert outcome.joined == {"M", "R"}


def test_a_line_that_flows_both_ways_from_a_high_point():
    shots = layer([b.shot("s", 0, 200, 95.5)], OHIO, origin=ORIGIN)
    main = b.main("M", (0, 0), (0, 300), invert_start=95.0, invert_end=95.1)
    outcome = Outcome([main], [OUTLET, b.outlet(0, 300, "O2")], SHOTS=shots)
    outcome.says("M: Water can leave this place by more than one pipe", "Shoot the inverts")
    assert outcome.ran["PIPE_COUNT"] == 2
    assert sorted(p["against_drawing"] for p in outcome.ran.rows("PIPES")) == [False, True]


def test_both_ends_of_a_pipe_on_one_main():
    outcome = Outcome([*GOOD, b.lateral("U", (0, 100), (80, 100), (80, 200), (0, 200))])
    outcome.says("U: Pipes make a ring", "ring of", "M", "Find out which of these joints is real")
    assert outcome.joined == {"M", "R", "U"}


def test_proposed_and_abandoned_pipe_among_the_rest():
    dry = [b.lateral(status, (100, y), (0, y), status=status) for y, status in ((100, "proposed"), (150, "abandoned"),
                                                                               (200, "removed"))]
    outcome = Outcome([*GOOD, *dry, b.lateral("not there", (100, 250), (0, 250), evidence="disproved")])
    assert outcome.joined == {"M", "R"}
    assert outcome.ran.heard.warnings == []
    assert outcome.ran["NO_OUTLET_COUNT"] == 0


def test_no_outlet_and_nothing_to_guess_one_from():
    rows = [b.pipe("P", (0, 0), (0, 300)), b.pipe("Q", (100, 50), (0, 50))]
    outcome = Outcome(rows, outlets=()).warns_once("2 of 2 drains reach no outlet")
    outcome.says("P: No outlet can be reached", "mark the outlet with a structure of kind outlet")
    assert {row["area_above"] for row in outcome.ran.rows("PIPES")} != {0}


def test_no_outlet_but_one_main():
    outcome = Outcome(GOOD[:1] + [b.lateral("R", (100, 300), (0, 300))], outlets=())
    outcome.warns_once("No outlet is marked; the free end of the main was taken", "Mark outlets with structures")
    assert outcome.joined == {"M", "R"}


def z_layer(*lines):
    made = QgsVectorLayer(f"LineStringZ?crs={OHIO}&field=drain_id:string&field=role:string&field=located_by:string",
                          "drains", "memory")
    features = []
    for key, role, points in lines:
        feature = QgsFeature(made.fields())
        feature.setAttributes([key, role, "rtk"])
        geometry = QgsGeometry()
        with np.errstate(invalid="ignore"):
            geometry.fromWkb(shapely.to_wkb(shapely.linestrings(np.array(points) + (*ORIGIN, 0.0))))
        feature.setGeometry(geometry)
        features.append(feature)
    made.dataProvider().addFeatures(features)
    return made


@pytest.mark.parametrize("missing", [0.0, float("nan")])
def test_elevations_of_nought_or_nan_are_unknown(missing):
    drains = z_layer(
        ("M", "main", [(0, 0, missing), (0, 300, 95.3)]),  # the first vertex has none
        ("N", "main", [(0, 300, 95.3), (0, 400, 96.4)]),
    )
    outcome = Outcome(drains)
    assert {p["drain_id"]: p["grade_call"] for p in outcome.ran.rows("PIPES")} == {"M": "unknown", "N": "falls"}
    assert outcome.joined == {"M", "N"}


def test_text_in_a_column_of_numbers():
    rows = [dict(MAIN, spacing=None), b.lateral("R", (100, 50), (0, 50), spacing="fifty"),
            b.lateral("S", (100, 250), (0, 250), spacing="50")]
    outcome = Outcome(rows)
    outcome.warns_once("'drains'", "'fifty' for spacing in feature 2", "write a number or leave it empty")
    area = {row["drain_id"]: row["area_above"] for row in outcome.ran.rows("PIPES")}
    assert area["S"] == pytest.approx(100 * 50 / 43560, abs=1e-4), "text that is a figure is read"


def test_arcs_are_taken_as_many_short_straights():
    made = QgsVectorLayer(f"CompoundCurve?crs={OHIO}&field=drain_id:string&field=role:string", "drains", "memory")
    x, y = ORIGIN
    features, arc = [], f"CircularString({x} {y + 100}, {x + 100} {y + 200}, {x} {y + 300})"
    for key, wkt in (
        ("M", f"CompoundCurve(({x} {y}, {x} {y + 100}), {arc})"),
        ("R", f"CompoundCurve(({x + 300} {y + 200}, {x + 100} {y + 200}))"),
    ):
        feature = QgsFeature(made.fields())
        feature.setAttributes([key, "main" if key == "M" else "lateral"])
        feature.setGeometry(QgsGeometry.fromWkt(wkt))
        features.append(feature)
    made.dataProvider().addFeatures(features)
    outcome = Outcome(made, JOIN_TOLERANCE=0.5, ACCEPT_PROPOSED=True)
    assert outcome.joined == {"M", "R"}, "R meets the top of the arc"
    length = sum(row["length"] for row in outcome.ran.rows("PIPES") if row["drain_id"] == "M")
    assert length == pytest.approx(100 + 100 * np.pi, rel=1e-3)


def test_all_faults_at_once_leave_the_good_pipe_working():
    rows = [
        *GOOD, b.lateral("dot", (9, 9), (9, 9)), b.lateral("ghost", (0, 0), (1, 1)) | {"geometry": None},
        b.lateral(None, (100, 90), (0, 90)), b.lateral("R", (100, 130), (0, 130)), b.main("N", (0, 0), (0, 300)),
        b.lateral("knot", (-100, 90), (-50, 90), (-70, 130), (-70, 60), (0, 170)),
        b.lateral("old", (100, 200), (0, 200), status="abandoned"),
    ]
    outcome = Outcome(rows)
    assert outcome.joined == {"M", "R", "line 5", "knot"}
    said = " ".join(outcome.ran.heard.warnings)
    assert all(word in said for word in ("'dot'", "'ghost'", "'N'", "'R'", "'line 5'"))
    assert len(outcome.ran.heard.warnings) <= 6
