"""Strips and pipes divided at land boundaries, by hand and against an overlay by other means."""

import geopandas
import numpy as np
import pytest
import shapely
from builders import FT, box, drains, lateral, main
from builders import land as land_of_rows
from fallkeeper.plugin.land.owners import NOBODY, LandMap, cut_at_land, land_crossed, split_by_land
from fallkeeper.plugin.land.served import served_land
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.network.lines import explode
from fallkeeper.plugin.tables import Land

ACRE_M2 = 43_560 * FT**2


def serve(*rows):
    layer = drains(*rows)
    lines, _ = explode(layer.geometry)
    return served_land(lines, layer, Limits(), np.ones(len(lines), dtype=bool))


def whole(lines):
    return np.arange(len(lines)), np.zeros(len(lines)), lines.length_m


def split(served, *boxes):
    shares = split_by_land(served, *whole(served.lines), LandMap.of(land_of_rows(*boxes)))
    return list(zip(shares.stretch.tolist(), shares.land.tolist(), (shares.area_m2 / FT**2).round(6).tolist()))


def crossed(line, *boxes):
    lines, _ = explode(drains(line).geometry)
    found = land_crossed(lines, *whole(lines), LandMap.of(land_of_rows(*boxes)), tolerance_m=0.01)
    return [(int(k), round(a / FT, 3), round(b / FT, 3)) for k, a, b in zip(found.land, found.from_m, found.to_m)]


def test_a_strip_inside_one_polygon_is_its_owners():
    served = serve(lateral("L", (0, 0), (871.2, 0)))
    assert split(served, box("F", -10, -30, 900, 30)) == [(0, 0, 43_560.0)]


def test_a_strip_is_divided_at_boundaries_and_the_rest_is_nobodys():
    served = serve(lateral("L", (0, 0), (800, 0)))
    # 10 ft of the strip's 50 lie north of both boxes
    assert split(served, box("W", 0, -50, 300, 15), box("E", 300, -50, 700, 15)) == [
        (0, NOBODY, 800 * 10 + 100 * 40.0), (0, 0, 300 * 40.0), (0, 1, 400 * 40.0),
    ]


def test_a_lot_that_the_pipe_only_passes_beside_has_its_part_of_the_strip():
    served = serve(lateral("L", (0, 0), (800, 0)))
    field = box("F", -10, -30, 810, 10)
    assert split(served, field, box("LOT", -10, 10, 810, 60)) == [(0, 0, 800 * 35.0), (0, 1, 800 * 15.0)]


def test_where_polygons_overlap_the_first_row_has_the_land_once():
    served = serve(lateral("L", (0, 0), (800, 0)))
    lot, field = box("LOT", 200, -30, 300, 30), box("F", -10, -30, 810, 30)
    assert split(served, lot, field) == [(0, 0, 100 * 50.0), (0, 1, 700 * 50.0)]
    assert split(served, field, lot) == [(0, 0, 800 * 50.0)]
    assert LandMap.of(land_of_rows(lot, field)).overlaps.tolist() == [[0, 1]]


def test_land_drawn_as_a_bow_tie_is_mended_for_the_sum():
    served = serve(lateral("L", (0, 0), (100, 0)))
    bow_tie = {"land_id": "X", "geometry": shapely.Polygon([(0, -50), (100, 50), (100, -50), (0, 50)])}
    areas = {land: area for _, land, area in split(served, bow_tie)}
    assert sum(areas.values()) == pytest.approx(5000)
    # of each half (50 ft high at x = 0 and 100, coming to a point at x = 50) the part within 25 ft of the pipe
    assert areas[0] == pytest.approx(2 * (25 * 50 + 2 * 25 * 25 / 2), rel=1e-6)


def test_without_land_all_is_nobodys():
    served = serve(lateral("L", (0, 0), (100, 0)), main("M", (0, 0), (0, 100)))
    assert split(served) == [(0, NOBODY, 5000.0)]
    assert crossed(main("M", (0, 0), (0, 100))) == [(NOBODY, 0.0, 100.0)]


def test_strips_divide_as_an_overlay_divides_them():
    rows = [lateral(f"L{y}", (0, y), (700, y + y % 90)) for y in range(0, 500, 45)]
    served = serve(*rows, main("M", (0, -50), (0, 550), spacing=40.0))
    boxes = [box("A", -60, -60, 222, 333), box("B", 222, -60, 750, 201.5), box("C", 300, 240, 555, 700)]
    land = land_of_rows(*boxes)
    shares = split_by_land(served, *whole(served.lines), LandMap.of(land))
    strips = geopandas.GeoDataFrame({"stretch": np.arange(len(served.lines))},
                                    geometry=served.polygons(*whole(served.lines)))
    polygons = geopandas.GeoDataFrame({"land": np.arange(len(land.owner))}, geometry=land.geometry)
    overlay = geopandas.overlay(strips, polygons, how="intersection", keep_geom_type=True)
    expected = overlay.area.groupby(overlay["land"]).sum()
    for row in range(3):
        assert shares.area_m2[shares.land == row].sum() == pytest.approx(expected[row], rel=1e-9)
    assert shares.area_m2.sum() == pytest.approx(served.area_m2.sum(), rel=1e-12)


def test_a_pipe_passes_from_owner_to_owner():
    line = main("M", (0, 0), (0, 1000))
    assert crossed(line, box("T", -50, 50, 50, 400), box("ROAD", -50, 400, 50, 460), box("K", -50, 460, 50, 2000)) == [
        (NOBODY, 0.0, 50.0), (0, 50.0, 400.0), (1, 400.0, 460.0), (2, 460.0, 1000.0),
    ]


@pytest.mark.parametrize("off_ft", [0.0, 0.02, -0.02])
def test_a_pipe_along_a_boundary_counts_once_for_each_side(off_ft):
    line = main("M", (0.0 + off_ft, 0), (0.0 + off_ft, 300))
    found = crossed(line, box("T", -50, 100, 0, 200), box("M", 0, 100, 50, 200))
    assert [(land, round(b - a)) for land, a, b in found] == [(NOBODY, 100), (0, 100), (1, 100), (NOBODY, 100)]


def test_a_pipe_that_turns_into_a_boundary_counts_for_both_only_along_it():
    line = main("M", (-100, 100), (0, 100), (0, 200), (100, 200))
    found = crossed(line, box("T", -500, 0, 0, 500), box("M", 0, 0, 500, 500))
    assert found == [(0, 0.0, 100.0), (0, 100.0, 200.0), (1, 100.0, 200.0), (1, 200.0, 300.0)]


def test_a_pipe_that_returns_is_cut_at_every_passage():
    lines, _ = explode(drains(main("M", (0, 0), (300, 0), (300, 100), (0, 100))).geometry)
    land = LandMap.of(land_of_rows(box("T", 200, -50, 400, 150)))
    stretch, from_m, to_m = cut_at_land(lines, *whole(lines), land, tolerance_m=0.01)
    assert stretch.tolist() == [0, 0, 0]
    assert np.concatenate([from_m, to_m[-1:]]) / FT == pytest.approx([0, 200, 500, 700])


def test_a_land_layer_without_polygons_is_asked_without_error():
    empty = Land.from_frame(geopandas.GeoDataFrame({"geometry": []}, geometry="geometry"))
    served = serve(lateral("L", (0, 0), (871.2, 0)))
    shares = split_by_land(served, *whole(served.lines), LandMap.of(empty))
    assert (shares.land.tolist(), shares.area_m2.tolist()) == ([NOBODY], pytest.approx([ACRE_M2]))
