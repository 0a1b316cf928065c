"""acceptlayout through Processing: what is written, what is not, and what is refused."""

import json
import shutil
import sqlite3
from contextlib import closing

import builders as b
import layouts
import numpy as np
import pytest
import shapely
from algorithm_runs import content_hash, refused, run
from county_files import bridged_county
from fallkeeper.sample_project import rows
from permissions import permissions_hold
from qgis.core import QgsCoordinateReferenceSystem, QgsProject, QgsVectorLayer
from qgis_layers import layer

pytestmark = pytest.mark.usefixtures("provider")


@pytest.fixture(scope="module")
def made(qgis_app, tmp_path_factory):
    path = tmp_path_factory.mktemp("Ossel Flats ü") / "county.gpkg"
    return bridged_county(path)


@pytest.fixture
def county(made, tmp_path):
    return shutil.copyfile(made, tmp_path / "county.gpkg")


def f7(changed=None):
    made = [{**row, **(changed or {}).get(row["drain_id"], {})} for row in layouts.f7_rows()]
    return layer(made, rows.CRS, "F7 layout", origin=rows.ORIGIN_FT)


def accept(county, layout=None, **given):
    return run("acceptlayout", ARCHIVE=str(county), LAYOUT=f7() if layout is None else layout, JOIN_TOLERANCE=5.0,
               WHO="Ada", **given)


def table(path, name, columns="*"):
    with closing(sqlite3.connect(path)) as file:
        found = file.execute(f'SELECT {columns} FROM "{name}"')
        heads = [column[0] for column in found.description]
        return [dict(zip(heads, row)) for row in found]


def by_key(path, name, key):
    return {row[key]: row for row in table(path, name)}


TABLES = {"drains": "drain_id", "structures": "structure_id", "shots": "shot_id", "land": "land_id",
          "layouts": "layout_id", "calls": "call_id", "readings": "reading_id", "landmarks": "landmark_id",
          "tapes": "tape_id"}


def everything(path):
    return {name: by_key(path, name, key) for name, key in TABLES.items()}


def test_a35_the_clean_lines_and_nothing_else(county):
    before = everything(county)
    ran = accept(county)
    assert (ran["TAKEN_COUNT"], ran["REDRAWN_COUNT"], ran["JOINT_COUNT"]) == (6, 0, 0)
    assert ran["LENGTH_ADDED"] == pytest.approx(5227.2, abs=0.1) and ran["AREA_MOVED"] == 0.0
    after = everything(county)
    new = {name: {key for key in after[name] if key not in before[name]} for name in TABLES}
    assert new.pop("drains") == set(layouts.CLEAN)
    layout_id, = new.pop("layouts")
    assert not any(new.values())
    for name in TABLES:
        assert {key: after[name][key] for key in before[name]} == before[name]
    drain = after["drains"]["N1"]
    assert (drain["role"], drain["layout_id"], drain["edited_by"]) == ("lateral", layout_id, "Ada")
    assert drain["spacing"] == 25.0
    assert after["layouts"][layout_id]["name"] == "F7 layout"
    length = [sum(_length(row) for row in each["drains"].values()) for each in (before, after)]
    assert length[1] - length[0] == pytest.approx(5227.2, abs=0.1)


def _length(row):
    return shapely.from_wkb(_wkb(row["geom"])).length


def _wkb(blob):
    envelope = (0, 32, 48, 48, 64)[(blob[3] >> 1) & 7]
    return blob[8 + envelope:]


def test_a35_acres_at_ob_stay_70(county):
    accept(county)
    ran = run("buildnetwork", DRAINS=f"{county}|layername=drains", STRUCTURES=f"{county}|layername=structures",
              JOIN_TOLERANCE=5.0)
    above = [row["area_above"] for row in ran.rows("PIPES") if row["drain_id"] == "B-1"]
    assert max(above) == pytest.approx(70.0, abs=0.001)


def test_one_batch_says_who_and_why(county):
    ran = accept(county, WHY="Installer's plan of March")
    written = [row for row in table(county, "history") if row["batch"] == ran["BATCH"]]
    assert {row["layer"] for row in written} == {"drains", "layouts", "layout_lines"}
    assert sum(row["layer"] == "drains" for row in written) == 6
    told = {(row["who"], row["why"], row["action"]) for row in written}
    assert told == {("Ada", "Installer's plan of March", "insert")}


def test_the_layout_stays_attached_whole(county):
    accept(county)
    kept = {row["brought_as"]: row for row in table(county, "layout_lines")}
    assert len(kept) == 12
    assert {key for key, row in kept.items() if row["done"] == "take"} == set(layouts.CLEAN)
    assert (kept["N9"]["class"], kept["N9"]["done"], kept["N9"]["drain_id"]) == ("crossing", None, None)
    source = json.loads(kept["N9"]["source"])
    assert source["fields"]["drain_id"] == "N9" and source["crs"] == rows.CRS
    drawn = shapely.from_wkb(bytes.fromhex(source["shape"]))
    assert np.allclose(shapely.get_coordinates(drawn) - rows.ORIGIN_FT, [[3900, 1210], [3500, 1460]])
    assert shapely.from_wkb(_wkb(kept["N9"]["geom"])).equals(drawn)


def test_accepting_twice_adds_nothing(county):
    accept(county)
    before = content_hash(county)
    again = accept(county)
    assert again["TAKEN_COUNT"] == 0 and again.heard.sentence_with("No line is accepted")
    assert content_hash(county) == before


def test_a_second_round_goes_to_the_same_layout(county):
    accept(county)
    ran = accept(county, LINES="N8; N10")
    assert ran["TAKEN_COUNT"] == 2
    assert len(table(county, "layouts")) == 5 and len(table(county, "layout_lines")) == 12
    kept = {row["brought_as"]: row["done"] for row in table(county, "layout_lines")}
    assert {key for key, done in kept.items() if done} == {*layouts.CLEAN, "N8", "N10"}


def test_decisions_as_somebody_changed_them(county):
    compared = run("comparelayout", ARCHIVE=str(county), LAYOUT=f7(), JOIN_TOLERANCE=5.0)["DECISIONS"]
    column = compared.fields().indexOf("action")
    wanted = {"N1": "ask", "N7": "replace", "F7-05": "replace"}
    compared.startEditing()
    for feature in compared.getFeatures():
        if feature["drain_id"] in wanted:
            compared.changeAttributeValue(feature.id(), column, wanted[feature["drain_id"]])
    assert compared.commitChanges()
    before = everything(county)
    ran = accept(county, DECISIONS=compared)
    assert (ran["TAKEN_COUNT"], ran["REDRAWN_COUNT"]) == (5, 2)
    after = everything(county)
    assert "N1" not in after["drains"] and "N7" not in after["drains"]
    drawn = shapely.from_wkb(_wkb(after["drains"]["F7-01"]["geom"]))
    assert np.allclose(shapely.get_coordinates(drawn) - rows.ORIGIN_FT, [[4000, 1202], [3128.8, 1202]])
    redrawn = after["drains"]["F7-01"]
    assert (redrawn["name"], redrawn["invert_start"]) == ("F7-01", pytest.approx(697.302))
    changed = {key for key in before["drains"] if after["drains"][key] != before["drains"][key]}
    assert changed == {"F7-01", "F7-05"}
    kept = [row for row in table(county, "history") if row["batch"] == ran["BATCH"] and row["action"] == "update"]
    assert {row["key"] for row in kept} == {"F7-01", "F7-05"} and all(row["before"] for row in kept)


def test_levels_of_ends_that_moved_become_unknown(county):
    bare = {"F7-05": {"invert_start": None, "invert_end": None}}
    accept(county, f7(bare), LINES="F7-05")
    drain = by_key(county, "drains", "drain_id")["F7-05"]
    assert (drain["invert_start"], drain["invert_end"], drain["diameter"]) == (None, None, 4.0)


def test_other_facts_leave_the_shape_and_turn_with_the_line(county):
    """F7-02 as it is drawn, in the other direction, with another level at the main."""
    drawn = b.lateral("F7-02", (4000, 1250), (3128.8, 1250), invert_start=697.40, invert_end=698.2, material="clay")
    before = by_key(county, "drains", "drain_id")["F7-02"]
    ran = accept(county, layer([drawn], rows.CRS, origin=rows.ORIGIN_FT), CLASSES=["other-facts"])
    assert ran["REDRAWN_COUNT"] == 1
    after = by_key(county, "drains", "drain_id")["F7-02"]
    assert after["geom"] == before["geom"] and after["material"] == "clay"
    assert (after["invert_start"], after["invert_end"]) == pytest.approx((698.2, 697.40))
    assert after["diameter"] == before["diameter"]


def test_a_joint_is_kept_as_a_structure(county):
    short = b.lateral("NJ", (3997.0, 1525), (3128.8, 1525), spacing=25.0)
    layout = layer([short], rows.CRS, origin=rows.ORIGIN_FT)
    assert accept(county, layout)["TAKEN_COUNT"] == 0
    ran = accept(county, layout, ACCEPT_PROPOSED=True)
    assert (ran["TAKEN_COUNT"], ran["JOINT_COUNT"]) == (1, 1)
    joint, = (row for row in table(county, "structures") if row["kind"] == "joint")
    place = shapely.from_wkb(_wkb(joint["geom"]))
    assert (place.x - rows.ORIGIN_FT[0], place.y - rows.ORIGIN_FT[1]) == pytest.approx((4000.0, 1525.0), abs=1e-6)
    assert joint["evidence"] == "drawn"
    built = run("buildnetwork", DRAINS=f"{county}|layername=drains", STRUCTURES=f"{county}|layername=structures",
                JOIN_TOLERANCE=5.0)
    assert built["NO_OUTLET_COUNT"] == 0


def test_lines_without_keys_get_keys(county):
    nameless = [{**row, "drain_id": None} for row in layouts.f7_rows()[:2]]
    ran = accept(county, layer([*nameless, b.lateral("x", (0, 0), (1, 0), role=None)][:2], rows.CRS,
                               origin=rows.ORIGIN_FT))
    assert ran["TAKEN_COUNT"] == 2
    new = table(county, "layout_lines")
    assert {row["brought_as"] for row in new} == {None} and all(len(row["drain_id"]) == 36 for row in new)


def test_heights_drawn_along_a_logged_line_become_level_shots(county):
    xyz = [(4000.0, 1525.0, 697.7), (3700.0, 1525.0, 698.0), (3400.0, 1525.0, 698.2), (3128.8, 1525.0, 698.6)]
    drawn = shapely.LineString([(x + rows.ORIGIN_FT[0], y + rows.ORIGIN_FT[1], z) for x, y, z in xyz])
    logged = dict(b.lateral("NZ", (0, 0), (1, 0), spacing=25.0, located_by="machine_log"), geometry=drawn)
    ran = accept(county, layer([logged], rows.CRS))
    assert ran["TAKEN_COUNT"] == 1
    drain = by_key(county, "drains", "drain_id")["NZ"]
    assert (drain["invert_start"], drain["invert_end"]) == pytest.approx((697.7, 698.6))
    shots = table(county, "shots")
    assert [(row["drain_id"], row["of"]) for row in shots] == [("NZ", "invert")] * 2
    assert [row["elevation"] for row in shots] == pytest.approx([698.0, 698.2])


def test_structures_and_shots_come_with_a_file_in_archive_form(county, tmp_path):
    from fallkeeper.plugin.history.batch import archive_batch
    from fallkeeper.plugin.qgis_layer.archive import create_archive

    path = tmp_path / "layout.gpkg"
    create_archive(path, QgsCoordinateReferenceSystem(rows.CRS), "us")
    x, y = rows.ORIGIN_FT

    def line(*places):
        return shapely.to_wkb(shapely.LineString([(x + a, y + c) for a, c in places]))

    with archive_batch(path, "test", "a new system") as batch:
        about = {"layout_id": "L-NEW", "name": "Plan 7", "made_on": "2026-03-01", "made_by": "Installer"}
        batch.insert("layouts", about)
        batch.insert("drains", {"drain_id": "C", "role": "main", "layout_id": "L-NEW"}, line((2500, 0), (2500, 900)))
        batch.insert("drains", {"drain_id": "C1", "role": "lateral", "spacing": 50.0, "layout_id": "L-NEW"},
                     line((2500, 500), (2900, 500)))
        for key, place in (("OC", (x + 2500, y)), ("far", (x, y + 9000))):
            batch.insert("structures", {"structure_id": key, "kind": "outlet"}, shapely.to_wkb(shapely.Point(place)))
        batch.insert("shots", {"shot_id": "S1", "drain_id": "C", "elevation": 695.0, "of": "invert"},
                     shapely.to_wkb(shapely.Point(x + 2500, y + 100)))
    ran = accept(county, f"{path}|layername=drains")
    assert ran["TAKEN_COUNT"] == 2
    after = everything(county)
    assert (after["layouts"]["L-NEW"]["made_by"], after["layouts"]["L-NEW"]["made_on"]) == ("Installer", "2026-03-01")
    assert after["drains"]["C1"]["layout_id"] == "L-NEW"
    assert "OC" in after["structures"] and "far" not in after["structures"]
    assert after["shots"]["S1"]["drain_id"] == "C"


def test_refused_while_a_layer_is_edited(county):
    opened = QgsVectorLayer(f"{county}|layername=land", "Land", "ogr")
    QgsProject.instance().addMapLayer(opened)
    assert opened.startEditing()
    before = content_hash(county)
    try:
        said = refused("acceptlayout", ARCHIVE=str(county), LAYOUT=f7())
        assert "The layer 'Land'" in said and "is in edit mode" in said
    finally:
        opened.rollBack()
        QgsProject.instance().removeMapLayer(opened.id())
    assert content_hash(county) == before


def test_refused_where_another_program_writes(county, monkeypatch):
    from fallkeeper.plugin.history import file

    monkeypatch.setattr(file, "PATIENCE_S", 0.1)
    with closing(sqlite3.connect(county, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert "is being written by another program" in refused("acceptlayout", ARCHIVE=str(county), LAYOUT=f7(),
                                                                JOIN_TOLERANCE=5.0)
        other.execute("ROLLBACK")


def test_refused_where_the_file_is_read_only(county):
    county.chmod(0o444)
    with permissions_hold():
        assert "read-only" in refused("acceptlayout", ARCHIVE=str(county), LAYOUT=f7(), JOIN_TOLERANCE=5.0)


def test_a_row_the_archive_refuses_takes_everything_back(county):
    before = content_hash(county)
    broken = f7({"N4": {"material": "cheese"}})
    said = refused("acceptlayout", ARCHIVE=str(county), LAYOUT=broken, JOIN_TOLERANCE=5.0)
    assert "Line 'N4'" in said and "Material is not known" in said
    assert content_hash(county) == before


def test_decisions_that_cannot_be(county):
    before = content_hash(county)
    for given, words in (({"LINES": "N99"}, "no line 'N99'"), ({"LINES": "N1", "DECISIONS": f7()}, "not both"),
                         ({"DECISIONS": f7()}, "has no columns drain_id and action")):
        assert words in refused("acceptlayout", ARCHIVE=str(county), LAYOUT=f7(), JOIN_TOLERANCE=5.0, **given)
    assert content_hash(county) == before
