"""The page of an import says what comes in, what is asked and what is doubtful, and shows nothing as it stands."""

import pytest
import shapely
from fallkeeper.plugin.report.content import Facts
from fallkeeper.plugin.report.import_content import ROWS_SHOWN, import_content
from fallkeeper.plugin.report.import_map import MOST_DRAWN, import_map
from fallkeeper.plugin.report.import_page import render_import
from import_sources import lines, plan_of, source_layer

LABELS = {"WRITE": "Write it", "TAKE_DOUBTFUL": "Take doubtful", "LENGTH_UNIT": "Unit of lengths", "ROLE": "Role"}


def page(plan, **more):
    facts = Facts("a.shp", plan.setting.units, "2024-05-06", "1", "EPSG:3734", plan.count("drains"))
    drawn = import_map(plan, plan.setting.units)
    return render_import(import_content(plan, facts, drawn, LABELS, **more))


def laterals(count, **columns):
    shapes = lines(*[[(0, 50 * k), (871.2, 50 * k)] for k in range(count)])
    return source_layer(shapes=shapes, drain_id=[f"L{k}" for k in range(count)], role=["lat"] * count, **columns)


def test_a_dry_run_that_is_ready():
    text = page(plan_of(laterals(3, size=["4 in"] * 3)))
    assert "Dry run of an import: a.shp" in text
    assert "Nothing is written yet. 3 drains can come in." in text
    assert "run again with &#x27;Write it&#x27;" in text
    assert "2,614 ft" in text, "length by role and size"
    assert "4.0 in" in text
    assert "<svg" in text
    assert "Questions that only you can answer" not in text


def test_open_questions_stand_with_what_the_dialog_calls_them():
    text = page(plan_of(laterals(3, depth=[3, 3, 3])))
    assert "Nothing is written yet: 1 question is open." in text
    assert "Unit of lengths (LENGTH_UNIT)" in text
    assert "ft, which is only a guess from the figures" in text
    assert "ft (not known: a guess)" in text


def test_doubtful_rows_stand_with_key_and_reason_and_not_all_of_many():
    count = ROWS_SHOWN + 5
    text = page(plan_of(laterals(count, spacing=["5000 ft"] * count)))
    assert "will stay out unless you tick &#x27;Take doubtful&#x27;" in text
    assert "L0" in text
    assert "spacing: 5,000 ft" in text
    assert f"Shown {ROWS_SHOWN} of {count}" in text


def test_what_was_written_is_said():
    plan = plan_of(laterals(3, spacing=["50 ft", "50 ft", "5000 ft"]))
    assert "2 drains written to out.gpkg." in page(plan, written="out.gpkg")
    assert "3 drains written to out.gpkg." in page(plan, written="out.gpkg", doubtful_taken=True)


def test_a_file_from_which_nothing_comes():
    text = page(plan_of(source_layer(shapes=["POINT(0 0)"], name=["x"]), points="none"))
    assert "There is nothing in the file that can come in." in text
    assert "Nothing says what this point is." in text


@pytest.mark.parametrize("nasty", ["<script>alert(1)</script>", "a & b", '"><img src=x>'])
def test_nothing_of_the_file_stands_in_the_page_as_it_is(nasty):
    layer = source_layer(nasty, shapes=lines([(0, 0), (9, 9)]), role=["main"], material=[nasty], **{nasty: ["x"]})
    assert nasty not in page(plan_of(layer)).replace("<!DOCTYPE", "")


def test_very_many_lines_are_not_all_drawn():
    plan = plan_of(laterals(2 * MOST_DRAWN))
    drawn = import_map(plan, plan.setting.units)
    assert f"{MOST_DRAWN:,} of {2 * MOST_DRAWN:,} lines are drawn" in drawn.caption


def test_lines_far_off_do_not_make_the_map_small():
    shapes = [*lines([(0, 0), (100, 0)], [(0, 50), (100, 50)]), shapely.LineString([(9e6, 9e6), (9e6, 9.1e6)])]
    plan = plan_of(source_layer(shapes=shapes, role=["main"] * 3))
    assert "2 of 3 lines are drawn" in import_map(plan, plan.setting.units).caption
