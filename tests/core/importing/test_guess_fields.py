"""Which field means what."""

import pytest
from fallkeeper.plugin.importing.field_words import OF_TARGET
from fallkeeper.plugin.importing.guess_fields import FieldMapError, match_fields, meanings, split_unit
from fallkeeper.plugin.schema import layer as schema_layer
from import_sources import source_layer


def matched(target="drains", told=None, fields_sure=False, **columns):
    found = match_fields(source_layer(fields_sure=fields_sure, **columns), target, told or {})
    return {match.meaning: (match.source or repr(match.constant)) for match in found}


@pytest.mark.parametrize(
    ("name", "core", "unit"),
    [("Depth (ft)", "depth", "ft"), ("dia_in", "dia", "in"), ("PipeSize_mm", "pipe size", "mm"),
     ("spacing[m]", "spacing", "m"), ("DEPTH", "depth", ""), ("elev_usft", "elev", "us-ft"),
     ("Invert US survey ft", "invert", "us-ft"), ("m", "m", ""), ("dia.", "dia", "")],
)  # fmt: skip
def test_the_unit_in_a_name(name, core, unit):
    assert split_unit(name) == (core, unit)


def test_names_people_use():
    assert matched(
        ID=["a", "b"], Label=["A", "B"], Type=["lat", "main"], PipeSize=['4"', '6"'], AvgDepth_ft=[3.1, 2.9],
        MATERIAL=["clay", "pvc"], Installed=["2019-05-01", None], Remarks=["x", None], OBJECTID=[1, 2],
    ) == {"drain_id": "ID", "name": "Label", "role": "Type", "diameter": "PipeSize", "depth": "AvgDepth_ft",
          "material": "MATERIAL", "installed_on": "Installed", "note": "Remarks"}  # fmt: skip


def test_a_column_called_line_is_a_key_where_it_tells_lines_apart_else_a_name():
    assert matched(LINE=["N1", "N2"]) == {"drain_id": "LINE"}
    assert matched(LINE=["N1", "N2"], ID=[1, 2]) == {"drain_id": "LINE"}
    assert matched(LINE=["north", "north", "south"], ID=[1, 2, 3]) == {"drain_id": "ID", "name": "LINE"}


def test_the_archives_own_names_come_before_others():
    found = matched(label=["x", "y"], name=["a", "b"], size=[1, 2], diameter=[4, 6])
    assert (found["name"], found["diameter"]) == ("name", "diameter")


def test_names_cut_by_a_shapefile():
    found = matched(invert_sta=[1.0], invert_end=[2.0], depth_star=[3.0], position_e=[1.0], installed_=["2020-01-01"],
                    in_ground_=["2020-01-01"], in_groun_1=["2021-01-01"], invert_err=[0.1])
    assert found == {"invert_start": "invert_sta", "invert_end": "invert_end", "depth_start": "depth_star",
                     "position_error": "position_e", "installed_on": "installed_", "in_ground_from": "in_ground_",
                     "in_ground_to": "in_groun_1", "invert_error": "invert_err"}  # fmt: skip


def test_what_a_column_holds_decides_whether_its_name_fits():
    assert matched(size=["small", "large"], depth=["deep", "shallow"]) == {}
    assert matched(serial=[1, 2, 3, 4], no=[7, 7, 7, 7]) == {}, "a number all rows share is no key"
    assert matched(type=["road", "fence"]) == {}
    assert matched(type=["old", "new"], layer=["LAT", "fence"]) == {"role": "layer"}
    assert matched(id=["4 in", "4 in", "6 in"]) == {}


def test_what_the_user_says_comes_first():
    found = matched(told={"diameter": "bore2", "role": "'lateral'", "name": ""}, bore2=["x", "y"], dia=[4, 6],
                    name=["a", "b"], type=["main", "main"])
    assert found == {"diameter": "bore2", "role": "'lateral'"}


@pytest.mark.parametrize(
    ("told", "said"),
    [({"diametre": "dia"}, "'diametre', which is no field of drains: use one of drain_id"),
     ({"diameter": "bore"}, "takes 'diameter' from 'bore', which 'lines' does not have: it has dia")],
)
def test_a_field_map_that_names_what_is_not_there(told, said):
    with pytest.raises(FieldMapError, match=said):
        matched(told=told, dia=[4.0])


def test_in_archive_form_only_its_own_names_count():
    assert matched(fields_sure=True, drain_id=["a"], size=[4.0], diameter=[6.0]) == {
        "drain_id": "drain_id", "diameter": "diameter"}


def test_a_log():
    found = matched("points", Easting=[1.0, 2.0], Northing=[1.0, 2.0], Elev=[3.0, 3.0], LineID=["a", "a"], Pt=[1, 2],
                    Timestamp=["2020-01-01T10:00:00", "2020-01-01T10:00:01"], Depth_m=[1.0, 1.1])
    assert found == {"x": "Easting", "y": "Northing", "z": "Elev", "line": "LineID", "order": "Pt", "time": "Timestamp",
                     "depth": "Depth_m"}
    assert matched("points", lat=[41.0, 41.1], lon=[-82.0, -82.1]) == {"lat": "lat", "lon": "lon"}


def test_an_id_that_points_share_is_that_of_their_line():
    assert matched("points", ID=["a", "a", "b", "b"], X=[1, 2, 3, 4], Y=[1, 2, 3, 4])["line"] == "ID"
    assert "line" not in matched("points", ID=["a", "b", "c", "d"], X=[1, 2, 3, 4], Y=[1, 2, 3, 4])


def test_every_field_of_the_archive_can_be_said():
    for target in ("drains", "structures", "shots"):
        own = {field.name for field in schema_layer(target).fields} - {"layout_id", "edited_by"}
        assert own <= set(meanings(target))
        assert all(name == name.lower() for names in OF_TARGET[target].values() for name in names)
