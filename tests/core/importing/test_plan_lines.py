"""Drawn lines as drains: fields, units, roles, keys, notes; what is doubtful and what has to be asked."""

import numpy as np
import pytest
import shapely
from fallkeeper.plugin.importing.draft import kept_in
from fallkeeper.plugin.importing.guess_fields import FieldMapError
from fallkeeper.plugin.units import METRIC, US_SURVEY_FOOT_M, Units
from import_sources import asked, lines, plan_of, source_layer, taken, told

TWO = lines([(0, 0), (100, 0)], [(0, 50), (100, 50)])
METRES = Units(METRIC)


def test_a_layout_with_names_people_use_comes_in_whole():
    layer = source_layer(
        shapes=TWO, Line_ID=["a", "b"], Type=["lat", "sub main"], Size=['4"', "6 in"], Depth_ft=[3.1, 3.3],
        Mat=["HDPE", "clay"], Installed=["5/25/2019", None], Owner=["x", "y"],
    )
    plan = plan_of(layer)
    first, second = taken(plan)
    assert first["wkt"] == "LINESTRING (0 0, 100 0)"
    assert {k: first[k] for k in ("drain_id", "role", "diameter", "depth_start", "depth_end", "material",
                                  "installed_on")} == {
        "drain_id": "a", "role": "lateral", "diameter": 4.0, "depth_start": 3.1, "depth_end": 3.1,
        "material": "corrugated_plastic", "installed_on": "2019-05-25"}
    assert (second["drain_id"], second["role"], second["material"]) == ("b", "submain", "clay")
    assert kept_in(first["note"]) == {"Mat": "HDPE", "Owner": "x"}, "a guess keeps what stood there"
    assert kept_in(second["note"]) == {"Owner": "y"}
    assert first["layout_id"] == second["layout_id"] == plan.layout["layout_id"]
    assert first["evidence"] == "drawn"
    assert (asked(plan), told(plan)) == ([], {})
    assert [(s.role, s.diameter, s.count, s.length) for s in plan.sums] == [
        ("lateral", 4.0, 1, 100.0), ("submain", 6.0, 1, 100.0)]


def test_the_row_about_the_layout():
    plan = plan_of(source_layer(shapes=TWO, role=["main", "main"]), made_by="Old Survey", made_on="2001-02-03",
                   position_error_m=3 * 0.3048)
    assert {k: v for k, v in plan.layout.items() if k not in ("layout_id", "note")} == {
        "name": "layout.shp", "made_by": "Old Survey", "made_on": "2001-02-03",

        "source_kind": "Shapefile", "scan": None,
        "position_error": pytest.approx(3)}
    assert "2024-05-06" in plan.layout["note"]
    assert [row["position_error"] for row in taken(plan)] == [pytest.approx(3)] * 2


def test_units_nobody_says_are_asked_for_and_guessed_for_the_dry_run_only():
    layer = source_layer(shapes=TWO, role=["main", "main"], dia=[100, 150], depth=[0.9, 1.1], invert_start=[210.5,
                                                                                                            210.6])
    plan = plan_of(layer)
    assert asked(plan) == ["DIAMETER_UNIT", "ELEVATION_UNIT", "LENGTH_UNIT", "VERTICAL_DATUM"]
    assert {q.parameter: q.meanwhile.split(",")[0] for q in plan.questions}["DIAMETER_UNIT"] == "mm"
    assert {q.parameter: q.meanwhile.split(",")[0] for q in plan.questions}["LENGTH_UNIT"] == "m"
    assert taken(plan)[0]["depth_start"] == pytest.approx(0.9 / 0.3048, abs=1e-6)
    sure = plan_of(layer, units=METRES, diameter_unit="mm", length_unit="m", vertical_datum="NAVD 88")
    assert asked(sure) == []
    assert (taken(sure)[0]["diameter"], taken(sure)[0]["depth_end"], taken(sure)[0]["invert_start"]) == (100.0, 0.9,
                                                                                                         210.5)


@pytest.mark.parametrize(
    ("column", "values", "said", "field", "wanted"),
    [
        ("dia", ["4 in", "100 mm"], {}, "diameter", [4, 100 / 25.4]),
        ("dia_mm", [100, 150], {}, "diameter", [100 / 25.4, 150 / 25.4]),
        ("dia", [4, 6], {"diameter_unit": "in"}, "diameter", [4, 6]),
        ("dia_mm", [100, 150], {"diameter_unit": "in"}, "diameter", [100 / 25.4, 150 / 25.4]),
        ("spacing", ["50 ft", "15 m"], {}, "spacing", [50, 15 / 0.3048]),
        ("spacing", ["50", "15 m"], {"length_unit": "ft"}, "spacing", [50, 15 / 0.3048]),
        ("invert_start", [700.5, 701], {"elevation_unit": "us-ft", "vertical_datum": "x"}, "invert_start",
         [700.5 * US_SURVEY_FOOT_M / 0.3048, 701 * US_SURVEY_FOOT_M / 0.3048]),
        ("invert_start", [213.5, 214], {"length_unit": "ft", "elevation_unit": "m", "vertical_datum": "x"},
         "invert_start",
         [213.5 / 0.3048, 214 / 0.3048]),
    ],
)  # fmt: skip
def test_a_unit_that_is_written_named_or_said(column, values, said, field, wanted):
    plan = plan_of(source_layer(shapes=TWO, role=["main", "main"], **{column: values}), **said)
    assert asked(plan) == []
    assert [row[field] for row in taken(plan)] == pytest.approx(wanted, abs=1e-6)


def test_figures_in_the_archives_own_unit_stay_as_they_are_to_the_bit():
    feet = Units("us", US_SURVEY_FOOT_M)
    plan = plan_of(source_layer(shapes=TWO, role=["main", "main"], invert_start=[696.60, 0.1 + 0.2]), units=feet,
                   length_unit="ft", vertical_datum="x")
    assert [row["invert_start"] for row in taken(plan)] == [696.60, 0.1 + 0.2]


def test_in_archive_form_the_file_says_its_units_itself():
    layer = source_layer("drains", shapes=TWO, drain_id=["a", "b"], role=["main", "main"], diameter=[100.0, 150.0],
                         invert_start=[1.5, 2.5], fields_sure=True)
    plan = plan_of(layer, file_units="metric", file_datum="NAVD 88")
    assert asked(plan) == []
    assert [row["diameter"] for row in taken(plan)] == pytest.approx([100 / 25.4, 150 / 25.4], abs=1e-6)
    assert [row["invert_start"] for row in taken(plan)] == pytest.approx([1.5 / 0.3048, 2.5 / 0.3048], abs=1e-6)


def test_two_vertical_datums_are_not_mixed():
    layer = source_layer(shapes=TWO, role=["main", "main"], invert_start=[1.5, 2.5])
    assert asked(plan_of(layer, length_unit="ft", vertical_datum="NGVD 29",
                         archive_datum="NAVD 88")) == ["VERTICAL_DATUM"]
    assert asked(plan_of(layer, length_unit="ft", vertical_datum="navd88", archive_datum="NAVD 88")) == []
    assert asked(plan_of(layer, length_unit="ft", vertical_datum="unknown", archive_datum="NAVD 88")) == []


def test_lines_without_a_role_are_left_out_until_somebody_says_it():
    layer = source_layer(shapes=TWO, Layer=["TILE-LAT", "FENCE"])
    plan = plan_of(layer)
    assert (asked(plan), told(plan)) == (["ROLE"], {"unknown-role": [2]})
    assert [row["role"] for row in taken(plan)] == ["lateral"]
    assert [row["role"] for row in taken(plan_of(layer, role="main"))] == ["lateral", "main"]
    mapped = plan_of(layer, values={"role": {"FENCE": "submain"}})
    assert [row["role"] for row in taken(mapped)] == ["lateral", "submain"]
    assert asked(mapped) == []


def test_the_name_of_the_layer_says_the_role_where_no_field_does():
    plan = plan_of(source_layer("Laterals", shapes=TWO, label=["a", "b"]))
    assert [row["role"] for row in taken(plan)] == ["lateral", "lateral"]


def test_a_size_in_the_role_counts_where_no_field_has_one():
    plan = plan_of(source_layer(shapes=TWO, Layer=['4" LAT', "MAIN 150 mm"]))
    assert [row["diameter"] for row in taken(plan)] == pytest.approx([4, 150 / 25.4], abs=1e-6)


def test_keys_stay_as_brought_and_are_made_unique():
    layer = source_layer(shapes=[*TWO, *lines([(0, 9), (9, 9)], [(0, 99), (9, 99)])], drain_id=["7", "7", None,
                                                                                                "7 (2)"],
                         role=["main"] * 4)
    plan = plan_of(layer)
    keys = [row["drain_id"] for row in taken(plan)]
    assert keys[0] == "7"
    assert keys[3] == "7 (2)"
    assert keys[1] == "7 (3)"
    assert len(keys[2]) == 36, "a new key"
    assert told(plan)["key-twice"] == [2]


def test_parts_share_their_key_by_number():
    layer = source_layer(shapes=["MULTILINESTRING((0 0, 9 0), (20 0, 30 0))", "LINESTRING(0 5, 9 5)"],
                         drain_id=["P", "Q"], role=["main", "main"])  # fmt: skip
    plan = plan_of(layer)
    rows = taken(plan)
    assert [row["drain_id"] for row in rows] == ["P", "P (2)", "Q"]
    assert rows[1]["note"] == "Part 2 of 2."
    assert told(plan) == {"several-parts": [1]}


def test_nothing_that_is_not_read_is_lost():
    layer = source_layer(shapes=TWO, role=["main", "main"], material=["wood", "clay"], dia=["four", "4 in DW"],
                         installed=["1998", "2001-02-03"], ObjectID=[1, 2], Crew=[7.0, None])
    plan = plan_of(layer)
    first, second = taken(plan)
    assert kept_in(first["note"]) == {"material": "wood", "dia": "four", "installed": "1998", "Crew": "7"}
    assert kept_in(second["note"]) == {"dia": "4 in DW"}
    assert {"material", "diameter", "installed_on"}.isdisjoint(first)
    assert told(plan) == {"value-unread": [1], "figure-unread": [1], "date-unread": [1]}


def test_zeros_and_markers_that_stand_for_unknown():
    layer = source_layer(shapes=TWO, role=["main", "main"], diameter=[0, 4], invert_start=[0, 700.1],
                         invert_end=[-9999, 700.2], position_error=[0, 1])
    plan = plan_of(layer, length_unit="ft", diameter_unit="in", vertical_datum="x")
    assert {"diameter", "invert_start", "invert_end", "position_error"}.isdisjoint(taken(plan)[0])
    assert told(plan) == {"zero-unknown": [1, 1, 1]}


def test_figures_no_drain_has_are_doubtful():
    layer = source_layer(shapes=TWO, role=["main", "main"], dia=[100, 4], spacing=[50, 5000], depth=[3, 30])
    plan = plan_of(layer, length_unit="ft", diameter_unit="in")
    assert [row["doubtful"] for row in taken(plan)] == [True, True]
    details = [str(words) for issue in plan.issues for words in issue.detail]
    assert details == ["dia: 100 in", "depth: 30 ft", "spacing: 5,000 ft"]


def test_cover_and_levels_by_flow():
    layer = source_layer(shapes=TWO, role=["main", "main"], cover_ft=[2.5, 2.5], size=["12 in", None],
                         us_inv=[10.2, 10.1], ds_inv=[10.1, 10.1])
    plan = plan_of(layer, length_unit="ft", vertical_datum="x")
    first, second = taken(plan)
    assert (first["depth_start"], first["depth_end"]) == (3.5, 3.5)
    assert "depth_start" not in second
    assert kept_in(second["note"]) == {"cover_ft": "2.5"}
    assert "invert_start" not in first
    assert kept_in(first["note"]) == {"us_inv": "10.2", "ds_inv": "10.1"}
    assert (second["invert_start"], second["invert_end"]) == (10.1, 10.1), "the same at both ends"
    assert asked(plan) == ["DRAWN"]
    up = taken(plan_of(layer, length_unit="ft", vertical_datum="x", drawn="upstream"))[0]
    assert (up["invert_start"], up["invert_end"]) == (10.1, 10.2)
    down = taken(plan_of(layer, length_unit="ft", vertical_datum="x", drawn="downstream"))[0]
    assert (down["invert_start"], down["invert_end"]) == (10.2, 10.1)


def test_the_same_line_twice_and_a_ring_are_doubtful():
    ring = [(0, 0), (9, 0), (9, 9), (0, 0)]
    layer = source_layer(shapes=[*TWO, *lines([(100, 0), (0, 0)], ring)], role=["main"] * 4)
    plan = plan_of(layer)
    assert told(plan) == {"same-line": [3], "closed-line": [4]}
    assert [row["doubtful"] for row in taken(plan)] == [False, False, True, True]
    assert plan.issues[0].detail[0] == "The same as row 1."


def test_drawn_heights_are_asked_about_and_become_inverts_and_shots():
    shape = shapely.LineString([(0, 0, 10.0), (100, 0, 10.2), (200, 0, 10.2), (300, 0, 10.3)])
    layer = source_layer(shapes=[shape], drain_id=["M"], role=["main"])
    plan = plan_of(layer, length_unit="ft", vertical_datum="x")
    assert (asked(plan), told(plan)) == (["HEIGHTS"], {"heights-left": [1]})
    assert "invert_start" not in taken(plan)[0]
    said = plan_of(layer, length_unit="ft", vertical_datum="x", heights="invert")
    (row,) = taken(said)
    assert (row["invert_start"], row["invert_end"], row["wkt"]) == (
        10.0, 10.3, "LINESTRING (0 0, 100 0, 200 0, 300 0)")
    assert [(s["wkt"], s["elevation"], s["of"], s["drain_id"]) for s in taken(said, "shots")] == [
        ("POINT (100 0)", 10.2, "invert", "M"), ("POINT (200 0)", 10.2, "invert", "M")]
    ground = plan_of(layer, length_unit="ft", vertical_datum="x", heights="ground")
    assert [s["of"] for s in taken(ground, "shots")] == ["ground"] * 4
    assert asked(plan_of(layer, heights="none")) == []


def test_a_day_whose_order_nobody_knows_is_asked_about():
    layer = source_layer(shapes=TWO, role=["main", "main"], installed=["3/4/2020", "5/6/2020"])
    plan = plan_of(layer)
    assert asked(plan) == ["DATE_ORDER"]
    assert kept_in(taken(plan)[0]["note"]) == {"installed": "3/4/2020"}
    assert [row["installed_on"] for row in taken(plan_of(layer, date_order="dmy"))] == ["2020-04-03", "2020-06-05"]


def test_what_is_said_of_a_field_counts_and_a_wrong_name_is_refused():
    layer = source_layer(shapes=TWO, T=["main", "main"], bore=[4, 6])
    plan = plan_of(layer, fields={"": {"role": "t", "diameter": "bore", "status": "'proposed'"}}, diameter_unit="in")
    assert [(r["role"], r["diameter"], r["status"]) for r in taken(plan)] == [("main", 4, "proposed"), ("main", 6,
                                                                                                        "proposed")]
    with pytest.raises(FieldMapError, match="'diameter' from 'caliber', which the file does not have: it has T, bore"):
        plan_of(layer, fields={"": {"diameter": "caliber"}})


def test_an_empty_layer_gives_an_empty_plan():
    plan = plan_of(source_layer(shapes=[], name=[]))
    assert (plan.count("drains"), plan.sums, plan.issues) == (0, (), ())


def test_ten_thousand_lines_need_no_loop_a_line():
    xy = np.arange(10_000)[:, None, None] + np.array([[[0.0, 0.0], [0.0, 5.0]]])
    layer = source_layer(shapes=list(shapely.linestrings(xy)), role=["lateral"] * 10_000, dia=["4 in"] * 10_000)
    assert plan_of(layer).count("drains", doubtful=False) == 10_000
