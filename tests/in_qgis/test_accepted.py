"""checkdrains and the table of accepted findings: beside the drains in a file and a database, or given."""

import sqlite3
from contextlib import closing

import processing
import pytest
from database_places import new_place
from fallkeeper.plugin.qgis_layer.accepted import accepted_beside
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.plugin.qgis_layer.copy_to_database import copy_to_database
from fallkeeper.plugin.schema import layer as declared
from fallkeeper.sample_project.build_sample import write_archive
from qgis.core import NULL, QgsFeature, QgsVectorLayer
from qgis.PyQt.QtCore import QDate, QDateTime
from qgis_layers import rows_of
from running import Heard

SINKS = ("LINE_FINDINGS", "POINT_FINDINGS", "NOT_CHECKED")
TREES = ("trees", "tree_rows", "woods")
WHO = {"reason": "grubbed in spring", "accepted_by": "A. Ames", "accepted_on": "2026-03-01T10:20:00"}

pytestmark = pytest.mark.usefixtures("provider")


@pytest.fixture
def place(qgis_app, request, tmp_path):
    """The sample county in a file, or in a database where the test asks for it."""
    path = tmp_path / "county.gpkg"
    write_archive(path)
    if getattr(request, "param", "file") == "file":
        return path
    made = new_place(request.getfixturevalue("database_server"))
    copy_to_database(path, made)
    return made


both = pytest.mark.parametrize("place", ["file", "database"], indirect=True)


def check(place, **more):
    layers = {name: open_layer(place, name) for name in ("drains", "structures", "shots", "land", *TREES)}
    heard = Heard()
    result = processing.run("fallkeeper:checkdrains", {
        **dict.fromkeys(SINKS, "memory:"), "DRAINS": layers["drains"], "STRUCTURES": layers["structures"],
        "SHOTS": layers["shots"], "LAND": layers["land"], "TREES": [layers[name] for name in TREES], **more,
    }, feedback=heard)
    found = [*rows_of(result["LINE_FINDINGS"]), *rows_of(result["POINT_FINDINGS"])]
    return {**result, "found": found, "said": heard.said}


def accept(layer, found, **other):
    """Write findings as they stand in the results into a table of accepted ones."""
    made = []
    for one in found:
        row = QgsFeature(layer.fields())
        values = {name: one[name] for name in ("check", "drain_id", "station_from", "station_to", "value")}
        for name, value in {**values, **WHO, **other}.items():
            row[name] = QDateTime.fromString(value, "yyyy-MM-ddTHH:mm:ss") if name == "accepted_on" else value
        made.append(row)
    assert layer.dataProvider().addFeatures(made)[0], layer.dataProvider().lastError()


def of(result, check_id):
    return [row for row in result["found"] if row["check"] == check_id]


@both
def test_accepted_findings_stay_with_their_reason_and_are_not_counted(place, tmp_path):
    before = check(place)
    assert before["ACCEPTED_COUNT"] == 0 and {row["accepted"] for row in before["found"]} <= {None, NULL}
    accept(open_layer(place, "accepted"), of(before, "near-trees"))
    after = check(place, REPORT=str(tmp_path / "report.html"))
    count = len(of(before, "near-trees"))
    assert count == 14 and (after["ACCEPTED_COUNT"], after["FINDING_COUNT"]) == (count, len(before["found"]) - count)
    assert len(after["found"]) == len(before["found"]), "nothing is hidden"
    assert {row["accepted"] for row in of(after, "near-trees")} == {
        "accepted on 2026-03-01 by A. Ames: 'grubbed in spring'"
    }
    assert all(row["accepted"] in (None, NULL) for row in after["found"] if row["check"] != "near-trees")
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    end = page.index("<h2>Accepted, with reason</h2>")
    assert page.index("<h2>Data and limits</h2>") < end and page.count("grubbed in spring") == count
    assert "grubbed" not in page[:end] and 'id="near-trees"' not in page
    assert "14 further findings stand accepted" in page
    assert any("Accepted findings: 14" in sentence for sentence in after["said"])


@both
def test_a_finding_that_is_worse_is_back_and_says_so(place):
    before = check(place)
    (choke,) = of(before, "smaller-downstream")
    accept(open_layer(place, "accepted"), [choke], value=choke["value"] + 2.0)
    after = check(place)
    assert (after["ACCEPTED_COUNT"], after["FINDING_COUNT"]) == (0, len(before["found"]))
    (back,) = of(after, "smaller-downstream")
    assert back["detail"].endswith(
        "Accepted on 2026-03-01 by A. Ames: 'grubbed in spring', but it is now 10.0 in where 12.0 in was accepted"
    ) and back["accepted"] in (None, NULL)
    assert any("that were accepted and are back" in sentence and ": 1." in sentence for sentence in after["said"])


def test_another_table_may_be_given(place):
    before = check(place)
    fields = "&".join(
        f"field={field.name}:{'real' if field.kind == 'real' else 'string'}" for field in declared("accepted").fields
    )
    table = QgsVectorLayer(f"NoGeometry?{fields}", "mine", "memory")
    made = of(before, "outlet-unguarded")
    row = QgsFeature(table.fields())
    row["check"], row["drain_id"], row["reason"] = "outlet-unguarded", made[0]["drain_id"], "a flap on order"
    for name in ("station_from", "station_to", "value"):
        row[name] = made[0][name]
    table.dataProvider().addFeatures([row])
    accept(open_layer(place, "accepted"), of(before, "near-trees"))
    after = check(place, ACCEPTED=table)
    assert after["ACCEPTED_COUNT"] == 1, "the table beside the drains is not asked then"
    assert [row["accepted"] for row in of(after, "outlet-unguarded") if row["accepted"]] == [
        "accepted: 'a flap on order'"
    ]


def test_a_table_somebody_brought_may_hold_words_for_figures(place):
    """A row whose value is no figure accepts none, so what was found is back with a sentence."""
    fields = "field=check:string&field=drain_id:string&field=value:string&field=accepted_on:date"
    table = QgsVectorLayer(f"NoGeometry?{fields}", "mine", "memory")
    rows = []
    for check_id, drain, value in (("smaller-downstream", "B-1", "about 10"), ("no-outlet", "B-3", None)):
        row = QgsFeature(table.fields())
        row["check"], row["drain_id"], row["value"], row["accepted_on"] = check_id, drain, value, QDate(2026, 3, 1)
        rows.append(row)
    table.dataProvider().addFeatures(rows)
    after = check(place, ACCEPTED=table)
    assert after["ACCEPTED_COUNT"] == 1
    (back,) = of(after, "smaller-downstream")
    assert back["detail"].endswith(
        "Accepted on 2026-03-01: no reason is written, but it is now 10.0 in where no figure was accepted")


def test_drains_of_no_archive_have_no_table(qgis_app):
    assert accepted_beside(None) == []
    assert accepted_beside(QgsVectorLayer("LineString?crs=EPSG:3734", "brought", "memory")) == []


def test_an_archive_may_lack_the_table(place):
    with closing(sqlite3.connect(place)) as file, file:
        file.execute("DELETE FROM gpkg_contents WHERE table_name = 'accepted'")
        file.execute("DROP TABLE accepted")
    assert check(place)["ACCEPTED_COUNT"] == 0
