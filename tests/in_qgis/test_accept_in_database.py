"""Comparing and accepting a layout where the archive lies in a database."""

import json

import layouts
import pytest
from algorithm_runs import refused, run
from county_files import bridged_county
from database_places import database_of, logins, new_place, stored_connection
from fallkeeper.plugin.qgis_layer.archive import open_layer
from fallkeeper.plugin.qgis_layer.copy_to_database import copy_to_database
from fallkeeper.plugin.qgis_layer.database_finish import set_roles
from fallkeeper.plugin.schema.postgres_roles import role_names
from fallkeeper.sample_project import rows
from qgis.core import QgsProject
from qgis_layers import layer, rows_of

pytestmark = pytest.mark.usefixtures("provider")


@pytest.fixture(scope="module")
def county(qgis_app, tmp_path_factory):
    return bridged_county(tmp_path_factory.mktemp("county") / "county.gpkg")


@pytest.fixture
def place(county, database_server):
    made = new_place(database_server, "ossel flats")
    copy_to_database(county, made)
    return made


@pytest.fixture
def archive(place):
    """The parameters that name the archive."""
    with stored_connection(place) as name:
        yield {"CONNECTION": name, "SCHEMA": place.schema}


def f7(changed=None):
    made = [{**row, **(changed or {}).get(row["drain_id"], {})} for row in layouts.f7_rows()]
    return layer(made, rows.CRS, "F7 layout", origin=rows.ORIGIN_FT)


def accept(archive, layout=None, **given):
    return run("acceptlayout", **archive, LAYOUT=f7() if layout is None else layout, JOIN_TOLERANCE=5.0, WHO="Ada",
               **given)


def held(place, name, key):
    return {row[key]: row for row in rows_of(open_layer(place, name))}


def content(place):
    """Digests of all tables but the history's."""
    return {name: place.rows(f"SELECT md5(coalesce(string_agg(t::text, '|' ORDER BY t::text), '')) FROM "
                             f'"ossel flats".{name} t') for name in ("drains", "structures", "layouts", "layout_lines")}


def test_s510_compared_and_accepted(place, archive, county, tmp_path):
    page = tmp_path / "page.html"
    compared = run("comparelayout", **archive, LAYOUT=f7(), JOIN_TOLERANCE=5.0, REPORT=str(page))
    in_file = run("comparelayout", ARCHIVE=str(county), LAYOUT=f7(), JOIN_TOLERANCE=5.0)
    assert compared.rows("DECISIONS") == in_file.rows("DECISIONS")
    assert "Layout beside archive: Ossel Flats" in page.read_text(encoding="utf-8")
    before = held(place, "drains", "drain_id")
    ran = accept(archive, WHY="Plan of March")
    assert (ran["TAKEN_COUNT"], ran["LENGTH_ADDED"]) == (6, pytest.approx(5227.2, abs=0.1))
    after = held(place, "drains", "drain_id")
    assert set(after) - set(before) == set(layouts.CLEAN)
    assert {key: after[key] for key in before} == before
    assert (after["N1"]["spacing"], after["N1"]["edited_by"]) == (25.0, "Ada")
    shape = next(open_layer(place, "drains").getFeatures("drain_id = 'N1'")).geometry().asWkt(1)
    assert shape == "LineString (2104000 801225, 2103128.8 801225)"
    kept = held(place, "layout_lines", "brought_as")
    assert len(kept) == 12
    assert json.loads(kept["N9"]["source"])["fields"]["drain_id"] == "N9"
    written = [row for row in rows_of(open_layer(place, "history")) if row["batch"] == ran["BATCH"]]
    assert {(row["who"], row["why"], row["action"]) for row in written} == {
        ("Ada (postgres)", "Plan of March", "insert")}
    assert len(written) == 6 + 1 + 12

    again = accept(archive)
    assert again["TAKEN_COUNT"] == 0 and again.heard.sentence_with("No line is accepted")
    second = accept(archive, LINES="N8; N10")
    assert second["TAKEN_COUNT"] == 2
    assert len(held(place, "layout_lines", "brought_as")) == 12


def test_a_drain_is_redrawn(place, archive):
    ran = accept(archive, LINES="F7-05")
    assert ran["REDRAWN_COUNT"] == 1
    (entry,) = [row for row in rows_of(open_layer(place, "history"))
                if row["batch"] == ran["BATCH"] and row["layer"] == "drains"]
    assert (entry["key"], entry["action"]) == ("F7-05", "update")
    shape = next(open_layer(place, "drains").getFeatures("drain_id = 'F7-05'")).geometry().asWkt(1)
    assert shape == "LineString (2104000 801725, 2103128.8 801725)"


def test_a_row_the_archive_refuses_takes_everything_back(place, archive):
    before = content(place)
    assert "Material is not known" in refused("acceptlayout", **archive, LAYOUT=f7({"N4": {"material": "cheese"}}),
                                              JOIN_TOLERANCE=5.0)
    assert content(place) == before


def test_nothing_is_written_while_a_layer_of_it_is_edited(place, archive):
    drains = open_layer(place, "land")
    QgsProject.instance().addMapLayer(drains)
    assert drains.startEditing()
    before = content(place)
    try:
        assert "is in edit mode" in refused("acceptlayout", **archive, LAYOUT=f7(), JOIN_TOLERANCE=5.0)
    finally:
        drains.rollBack()
        QgsProject.instance().removeMapLayer(drains.id())
    assert content(place) == before


def test_an_editor_accepts_and_a_reader_may_only_compare(place, database_server):
    assert set_roles(place) == ""
    read, edit = role_names(database_of(place), place.schema)
    with logins(database_server, place, rita=(read,), anna=(edit,)) as at:
        before = content(place)
        with stored_connection(at["rita"], "of rita") as name:
            asked = {"CONNECTION": name, "SCHEMA": place.schema, "LAYOUT": f7(), "JOIN_TOLERANCE": 5.0}
            assert run("comparelayout", **asked)["TAKE_COUNT"] == 6
            assert "permission denied" in refused("acceptlayout", **asked)
        assert content(place) == before
        with stored_connection(at["anna"], "of anna") as name:
            ran = accept({"CONNECTION": name, "SCHEMA": place.schema})
        assert ran["TAKEN_COUNT"] == 6
        who = {row["who"] for row in rows_of(open_layer(place, "history")) if row["batch"] == ran["BATCH"]}
        assert who == {"Ada (anna)"}


def test_what_cannot_be_is_refused_in_a_sentence(place, archive):
    assert "is a layer of the archive itself" in refused("comparelayout", **archive, LAYOUT=open_layer(place, "drains"))
    place.run(['UPDATE "ossel flats".archive SET schema_version = 2'])
    assert "is an archive of an older version" in refused("acceptlayout", **archive, LAYOUT=f7(), JOIN_TOLERANCE=5.0)
    assert "Name the file of the archive, or choose a database" in refused("comparelayout", LAYOUT=f7())
    assert "cannot open the layer 'drains'" in refused("comparelayout", **{**archive, "SCHEMA": "nowhere"}, LAYOUT=f7())
