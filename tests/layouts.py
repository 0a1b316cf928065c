"""Layouts to be compared with an archive: that of the sample county's field F7, and small ones."""

from __future__ import annotations

import json

import builders as b
import numpy as np
import pandas as pd
import shapely
from fallkeeper.plugin.compare.brought import Brought, BroughtRow
from fallkeeper.plugin.compare.given import Archive, Layout, Settings
from fallkeeper.plugin.compare.judge import Comparison, compare_layout
from fallkeeper.plugin.limits import Limits
from fallkeeper.plugin.tables import Drains, Land, Shots, Structures
from fallkeeper.plugin.units import US_SURVEY_FOOT_M, Units
from fallkeeper.sample_project.rows import CRS, ORIGIN_FT
from scenario import UNITS, scenario_frames

MAIN_X, FAR_X = 4000.0, 3128.8
CLEAN = ("N1", "N2", "N3", "N4", "N5", "N6")


def _lateral(key: str, y: float, joint: float | None = None, x: tuple[float, float] = (MAIN_X, FAR_X)) -> dict:
    """From the main outward, half a foot above its invert at the joint, rising 0.1 %."""
    joint = 695.6 + 0.001 * y + 0.5 if joint is None else joint
    rise = 0.001 * abs(x[1] - x[0])
    return b.pipe(
        key, (x[0], y), (x[1], y), role="lateral", spacing=25.0, diameter=4.0, material="corrugated_plastic",
        openings="perforated", invert_start=joint, invert_end=joint + rise, invert_error=0.03, located_by="level",
    )


def f7_rows() -> list[dict]:
    """The layout of scenario 5.10, in feet from the county's origin."""
    rows = [_lateral(key, y) for key, y in zip(CLEAN, (1225, 1275, 1325, 1375, 1425, 1475))]
    across = _lateral("N9", 1210)
    across["geometry"] = shapely.LineString([(3900, 1210), (3500, 1460)])
    return [
        *rows,
        _lateral("N7", 1202),
        _lateral("N8", 1525, x=(MAIN_X, 3060.0)),
        across,
        _lateral("N10", 1575, joint=696.60),
        _lateral("N11", 1625, x=(FAR_X, 3960.0)),
        _lateral("F7-05", 1725),
    ]


def county_archive(bridged: bool = True) -> Archive:
    """The sample county."""
    frames = scenario_frames(bridged=bridged)
    return Archive(
        Drains.from_frame(frames["drains"]), Structures.from_frame(frames["structures"]), Shots.none(),
        Land.from_frame(frames["land"]),
    )


def county_settings(tolerance_ft: float = 5.0, accept: bool = False) -> Settings:
    return Settings(Limits(foot_m=US_SURVEY_FOOT_M), UNITS, tolerance_ft * US_SURVEY_FOOT_M, accept)


def compare_f7(rows: list[dict] | None = None, bridged: bool = True, **settings) -> Comparison:
    """The layout of F7 (or other rows in its coordinates) beside the sample county."""
    layout = b.drains(*(f7_rows() if rows is None else rows), unit_m=US_SURVEY_FOOT_M)
    return compare_layout(county_archive(bridged), Layout.of_lines(layout), county_settings(**settings))


def compare(
    archive_rows: list[dict], layout_rows: list[dict], structures: list[dict] = (), land: list[dict] | None = None,
    tolerance_ft: float = 1.0, accept: bool = False, layout_structures: list[dict] = (), layout_shots: list[dict] = (),
) -> Comparison:
    """A small archive and a layout, in feet."""
    archive = Archive(
        b.drains(*archive_rows), b.structures(*structures), Shots.none(), None if land is None else b.land(*land)
    )
    layout = Layout(b.drains(*layout_rows), b.structures(*layout_structures), b.shots(*layout_shots))
    return compare_layout(archive, layout, Settings(Limits(), Units("us"), tolerance_ft * b.FT, accept))


def classes(compared: Comparison) -> dict[str, tuple[str, str]]:
    """Key -> class and proposed action; what a key used twice is comes from its last line."""
    from fallkeeper.plugin.compare.found import class_of

    found = zip(class_of(compared.kind).tolist(), compared.action.tolist())
    return dict(zip(compared.layout.drains.drain_id.tolist(), found))


def reasons(compared: Comparison) -> pd.DataFrame:
    """All reasons by key of the line."""
    from fallkeeper.plugin.compare.found import class_of

    found = compared.reasons
    return pd.DataFrame({
        "line": compared.layout.drains.drain_id[found.row], "class": class_of(found.kind), "value": found.value,
        "other": found.other, "detail": found.detail, "x": found.xy_m[:, 0], "y": found.xy_m[:, 1],
    })


def acres(compared: Comparison, area_m2: float) -> float:
    return area_m2 / compared.settings.units.area_m2


def moved(change, units) -> dict[tuple[str, str], float]:
    """(outlet before, outlet after) -> acres."""
    return {(one.before, one.after): round(one.area_m2 / units.area_m2, 4) for one in change.moved}


def by_outlet(change, units) -> dict[str, tuple[float, float]]:
    """Outlet -> acres before and after."""
    return {
        one.key: tuple(np.round([one.area_before_m2 / units.area_m2, one.area_after_m2 / units.area_m2], 4).tolist())
        for one in change.outlets
    }


def brought(rows: list[dict], name: str = "F7 layout") -> Brought:
    """Rows as they would come from a layer in the sample county's CRS and units."""
    made = []
    for number, row in enumerate(rows, 1):
        shape = shapely.transform(row["geometry"], lambda xy: xy + ORIGIN_FT)
        values = {field: value for field, value in row.items() if field != "geometry"}
        source = {"fields": values, "shape": shapely.to_wkb(shape, hex=True), "crs": CRS}
        made.append(BroughtRow(number, values, shapely.to_wkb(shape), json.dumps(source)))
    return Brought(name, made)
