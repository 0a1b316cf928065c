import re

import numpy as np
import pytest
import shapely
from fallkeeper.plugin.report.thumbnail import Thumbnail, thumbnail_svg, thumbnail_view
from fallkeeper.plugin.units import FOOT_M, METRIC, Units
from svg_reading import path_points, shapes, texts


def line(*xy_ft):
    return shapely.LineString(np.array(xy_ft) * FOOT_M)


LATERALS = [line((1000, y), (128.8, y)) for y in range(800, 1051, 50)]


def around_main(**changes):
    facts = {
        "title": "Main A, 9+00 to 10+00",
        "units": Units(),
        "found": [line((1000, 900), (1000, 1000))],
        "call": "reverse",
        "found_name": "Main A",
        "pipes": [line((1000, 0), (1000, 2250)), *LATERALS],
        "names": ["Main A", *(f"F1-{number}" for number in range(15, 21))],
        "is_main": [True, *(False for _ in LATERALS)],
        "land": [shapely.box(100 * FOOT_M, 50 * FOOT_M, 1000 * FOOT_M, 1100 * FOOT_M)],
    }
    return Thumbnail(**{**facts, **changes})


def drawn(svg, colour):
    return [shape for shape in shapes(svg, "path") if shape.get("stroke") == colour]


def test_the_stretch_lies_where_the_view_says_and_has_its_own_pattern():
    view, svg = thumbnail_view(around_main()), thumbnail_svg(around_main())
    (reverse,) = drawn(svg, "#a8141b")
    expected = view.pixels(np.array([[1000, 900], [1000, 1000]]) * FOOT_M)
    assert np.allclose(path_points(reverse), expected, atol=0.06)
    assert reverse["stroke-dasharray"] and expected[0][1] > expected[1][1]  # north is up
    assert "Main A: reverse" in texts(svg)


def test_mains_are_wider_than_laterals_and_neighbours_are_named():
    svg = thumbnail_svg(around_main())
    laterals, main = drawn(svg, "#6f6f6f")
    assert float(main["stroke-width"]) > 2 * float(laterals["stroke-width"])
    assert {"F1-17", "F1-18", "F1-19", "N"} <= set(texts(svg))


def test_the_scale_bar_is_true_in_the_archives_unit():
    for units, unit_m, name in ((Units(), FOOT_M, "ft"), (Units(METRIC), 1.0, "m")):
        thumbnail = around_main(units=units)
        svg = thumbnail_svg(thumbnail)
        label = next(text for text in texts(svg) if re.fullmatch(rf"[\d,.]+ {name}", text))
        halves = [float(shape["width"]) for shape in shapes(svg, "rect") if shape.get("height") == "6"]
        length_m = float(label.split()[0].replace(",", "")) * unit_m
        assert sum(halves) == pytest.approx(length_m * thumbnail_view(thumbnail).px_per_m, abs=0.11)


def test_a_place_is_a_ring_with_its_name():
    thumbnail = around_main(found=[shapely.Point(997 * FOOT_M, 905 * FOOT_M)], call="found", found_name="F1-17")
    view, svg = thumbnail_view(thumbnail), thumbnail_svg(thumbnail)
    ring = next(shape for shape in shapes(svg, "circle") if shape["r"] == "9")
    (x, y), = view.pixels(np.array([[997, 905]]) * FOOT_M)
    assert (float(ring["cx"]), float(ring["cy"])) == pytest.approx((x, y), abs=0.06)
    assert texts(svg).count("F1-17") == 1


def test_pipes_are_cut_at_the_frame():
    view, svg = thumbnail_view(around_main()), thumbnail_svg(around_main())
    right = view.left + (view.east_m - view.west_m) * view.px_per_m
    for shape in drawn(svg, "#6f6f6f"):
        assert all(view.left - 0.1 <= x <= right + 0.1 for x, _ in path_points(shape))


def test_unknown_is_drawn_apart_from_found_and_good():
    colours = {"falls": "#0b5c8a", "unknown": "#4d4d4d", "cannot_tell": "#7a4b00", "found": "#8c1264"}
    svgs = {call: thumbnail_svg(around_main(call=call)) for call in colours}
    dashes = {call: drawn(svgs[call], colour)[0].get("stroke-dasharray") for call, colour in colours.items()}
    assert len(set(dashes.values())) == 4 and dashes["falls"] is None


def test_names_are_escaped_and_an_empty_map_is_still_a_drawing():
    svg = thumbnail_svg(around_main(names=["<script>alert(1)</script>"] * 7, title="a & <b>"))
    assert "<script" not in svg and "<b>" not in svg
    assert texts(thumbnail_svg(around_main(found=[], pipes=[], names=[], is_main=[], land=[])))
    assert texts(thumbnail_svg(around_main(names=[], is_main=[])))
