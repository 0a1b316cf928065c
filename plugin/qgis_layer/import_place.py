"""Where a file's coordinates lie: its CRS, the plan they go to, and what can be told when they cannot be right."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import shapely
from qgis.core import QgsCoordinateReferenceSystem, QgsCoordinateTransformContext, QgsRectangle

from ..importing.answers import Answers
from ..importing.columns_as_shapes import LONGITUDE_LATITUDE, with_shapes
from ..importing.issues import Question
from ..importing.places import Reading, Whereabouts
from ..importing.source import SourceLayer
from ..units import FOOT_M, US_SURVEY_FOOT_M, Units
from .crs import counts_in_degrees, unit_m, units_for
from .import_file import ReadFile
from .import_transform import ToPlan

DEGREES = "EPSG:4326"
_SIZES = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": FOOT_M, "us-ft": US_SURVEY_FOOT_M}
_NEAR_AREA_M = 50_000.0


@dataclass(frozen=True)
class Goal:
    """Where an import goes. `box` holds the archive's land and drains, in its CRS; None without an archive.

    `crs` is invalid where nobody says one; then that of the file serves, or a zone of UTM for the dry run.
    """

    crs: QgsCoordinateReferenceSystem
    context: QgsCoordinateTransformContext
    units: str = "auto"
    archive_units: str | None = None
    datum: str = ""
    box: QgsRectangle | None = None


@dataclass(frozen=True)
class Placed:
    """Layers with shapes in the plan, where each can lie, the plan itself and questions about it."""

    layers: tuple[SourceLayer, ...]
    where: tuple[Whereabouts, ...]
    crs: QgsCoordinateReferenceSystem
    units: Units
    questions: tuple[Question, ...]
    crs_words: str


def place_layers(read: ReadFile, answers: Answers, goal: Goal, far_m: float) -> Placed:
    """Bring all layers into the plan; `far_m` is how far from the archive a place may lie."""
    layers = [with_shapes(layer, answers) for layer in read.source.layers]
    said = QgsCoordinateReferenceSystem(answers.crs) if answers.crs else QgsCoordinateReferenceSystem()
    own = [_crs_of(layer, crs, said) for layer, crs in zip(layers, read.crs)]
    plan, questions = _plan(goal, layers, own)
    units = units_for(goal.units, plan, goal.archive_units)
    placed, where, words = [], [], []
    for layer, crs in zip(layers, own):
        known = bool(layer.crs != LONGITUDE_LATITUDE and crs.isValid()) or said.isValid()
        meanwhile = crs if crs.isValid() else plan
        scale, question = _scale(meanwhile, answers, read.drawn_in)
        questions += [question] if question else []
        to_plan = ToPlan(meanwhile, plan, goal.context, scale, answers.swap_axes == "yes")
        placed.append(_in_plan(layer, to_plan))
        where.append(_whereabouts(layer, to_plan, goal, known, said.isValid(), far_m))
        words.append(_words(meanwhile, known))
    return Placed(tuple(placed), tuple(where), plan, units, tuple(questions), "; ".join(dict.fromkeys(words)))


def _crs_of(
    layer: SourceLayer, crs: QgsCoordinateReferenceSystem, said: QgsCoordinateReferenceSystem
) -> QgsCoordinateReferenceSystem:
    if said.isValid():
        return said
    return QgsCoordinateReferenceSystem(DEGREES) if layer.crs == LONGITUDE_LATITUDE else crs


def _words(crs: QgsCoordinateReferenceSystem, known: bool) -> str:
    if not crs.isValid():
        return "not known"
    named = f"{crs.authid()} {crs.description()}".strip()
    return named if known else f"not known; {named} for this dry run"


def _plan(
    goal: Goal, layers: list[SourceLayer], own: list[QgsCoordinateReferenceSystem]
) -> tuple[QgsCoordinateReferenceSystem, list[Question]]:
    """The CRS the import goes to: that of the archive or as said, else the file's, else a zone of UTM for now."""
    if goal.crs.isValid():
        return goal.crs, []
    for crs in own:
        if crs.isValid() and not counts_in_degrees(crs) and any(abs(unit_m(crs) - one) < 1e-5 for one in (1.0, FOOT_M)):
            return crs, []
    xy = np.concatenate([shapely.get_coordinates(layer.shapes) for layer in layers] or [np.zeros((0, 2))])
    in_degrees = any(crs.isValid() and counts_in_degrees(crs) for crs in own)
    if not in_degrees or not len(xy):
        return QgsCoordinateReferenceSystem(), [_ask_for_plan("the coordinates as they are, lengths without a unit")]
    zone = utm_zone(float(np.nanmedian(xy[:, 0])), float(np.nanmedian(xy[:, 1])))
    return zone, [_ask_for_plan(f"{zone.authid()} {zone.description()}")]


def _ask_for_plan(meanwhile: str) -> Question:
    return Question(
        "OUTPUT_CRS", "In which projected CRS, in feet or metres, is the layout to be kept? The file is in degrees or "
        "names none.", "OUTPUT_CRS, or ARCHIVE to take that of the archive", meanwhile,
    )


def utm_zone(longitude: float, latitude: float) -> QgsCoordinateReferenceSystem:
    """The zone of UTM on WGS 84 a place lies in."""
    zone = int(np.clip((longitude + 180) // 6 + 1, 1, 60))
    return QgsCoordinateReferenceSystem(f"EPSG:{(32600 if latitude >= 0 else 32700) + zone}")


def _scale(
    crs: QgsCoordinateReferenceSystem, answers: Answers, drawn_in: str
) -> tuple[float, Question | None]:
    """From the unit the file counts in to that of its CRS, and a question where a drawing says another one."""
    if not crs.isValid() or counts_in_degrees(crs):
        return 1.0, None
    size_m = unit_m(crs)
    if answers.coordinate_unit:
        if answers.coordinate_unit == "ft" and abs(size_m - FOOT_M) < 1e-5:
            return 1.0, None
        return _SIZES[answers.coordinate_unit] / size_m, None
    if drawn_in and abs(_SIZES[drawn_in] - size_m) > 1e-5:
        return 1.0, Question(
            "COORDINATE_UNIT",
            f"The drawing says it is drawn in {drawn_in}, and {crs.authid()} counts in "
            f"{'m' if size_m == 1.0 else 'ft'}: which is it? What a drawing says of itself is often not true.",
            "COORDINATE_UNIT", f"{'m' if size_m == 1.0 else 'ft'}, as the CRS",
        )
    return 1.0, None


def _in_plan(layer: SourceLayer, to_plan: ToPlan) -> SourceLayer:
    if to_plan.source == to_plan.plan and to_plan.scale == 1.0 and not to_plan.swapped:
        return layer
    return replace(layer, shapes=to_plan.shapes(layer.shapes), drawn=layer.shapes)


def _whereabouts(
    layer: SourceLayer, to_plan: ToPlan, goal: Goal, known: bool, said: bool, far_m: float
) -> Whereabouts:
    crs, plan = to_plan.source, to_plan.plan
    if goal.box is not None and not goal.box.isEmpty():
        box, words, margin = _corners(goal.box), "the archive's land and drains", far_m
    else:
        box, words, margin = _area_of(crs, to_plan), f"the area {crs.authid()} is made for", _NEAR_AREA_M
    readings = tuple(_readings(layer, to_plan, goal)) if box is not None else ()
    asked, meanwhile = "", ""
    if not known:
        asked = "In which CRS are the coordinates of the file? It names none."
        meanwhile = f"{crs.authid()} {crs.description()}" if crs.isValid() else ""
        if layer.crs == LONGITUDE_LATITUDE:
            asked = (
                "The file has longitudes and latitudes and does not say on which datum: GNSS receivers use WGS 84 "
                "(EPSG:4326) or, with a correction service, often NAD 83 (EPSG:6318), a yard or two apart."
            )
    foot = "" if said or not known else _foot(crs, plan, layer)
    return Whereabouts(box, words, margin, readings, foot, asked, meanwhile)


def _corners(box: QgsRectangle) -> tuple[float, float, float, float]:
    return box.xMinimum(), box.yMinimum(), box.xMaximum(), box.yMaximum()


def _area_of(crs: QgsCoordinateReferenceSystem, to_plan: ToPlan) -> tuple[float, float, float, float] | None:
    """The area a CRS is made for, in the plan; None where it is the whole world or not known."""
    if not crs.isValid() or counts_in_degrees(crs) or crs.bounds().isEmpty():
        return None
    west, south, east, north = _corners(crs.bounds())
    steps = np.linspace(0, 1, 21)
    x, y = west + (east - west) * steps, south + (north - south) * steps
    edge = np.concatenate([
        np.column_stack([x, np.full(21, south)]), np.column_stack([x, np.full(21, north)]),
        np.column_stack([np.full(21, west), y]), np.column_stack([np.full(21, east), y]),
    ])  # fmt: skip
    placed = ToPlan(QgsCoordinateReferenceSystem(DEGREES), to_plan.plan, to_plan.context).place(edge)
    if not np.isfinite(placed).all():
        return None
    return (*placed.min(axis=0).tolist(), *placed.max(axis=0).tolist())


def _foot(crs: QgsCoordinateReferenceSystem, plan: QgsCoordinateReferenceSystem, layer: SourceLayer) -> str:
    """A sentence where file and plan count in feet that differ."""
    if not plan.isValid() or counts_in_degrees(crs):
        return ""
    one, other = unit_m(crs), unit_m(plan)
    if abs(one - FOOT_M) > 1e-5 or abs(other - FOOT_M) > 1e-5 or abs(one - other) < 1e-9:
        return ""
    xy = shapely.get_coordinates(layer.shapes)
    off = abs(one - other) / other * float(np.nanmedian(np.hypot(*xy.T))) if len(xy) else 0.0
    name = {True: "international feet", False: "US survey feet"}
    return (
        f"The file counts in {name[abs(one - FOOT_M) < 1e-9]}, the archive in {name[abs(other - FOOT_M) < 1e-9]}: if "
        "one "
        f"of them is wrong, all lies {off:,.1f} ft off."
    )


def _readings(layer: SourceLayer, to_plan: ToPlan, goal: Goal) -> Iterator[Reading]:
    """Other ways to read the numbers, the likelier first."""
    degrees = QgsCoordinateReferenceSystem(DEGREES)
    plan, source = to_plan.plan, to_plan.source

    def read(words: str, remedy: str, **changed: object) -> Reading:
        return Reading(words, remedy, replace(to_plan, **changed).place)

    yield read("with x and y swapped", "say SWAP_AXES.", swapped=not to_plan.swapped)
    yield read("as longitude and latitude", f"say CRS {DEGREES}.", source=degrees, scale=1.0)
    yield read("as latitude and longitude", f"say CRS {DEGREES} and SWAP_AXES.", source=degrees, scale=1.0,
               swapped=True)
    if source.isValid() and not counts_in_degrees(source):
        for unit in ("ft", "m"):
            if abs(_SIZES[unit] - unit_m(source)) > 1e-5:
                words = f"in {'feet' if unit == 'ft' else 'metres'}"
                yield read(words, f"say COORDINATE_UNIT {unit}.", scale=_SIZES[unit] / unit_m(source))
    if goal.box is None:
        return
    if source != plan:
        yield read("in the CRS of the archive", f"say CRS {plan.authid()}.", source=plan, scale=1.0)
        for unit in ("ft", "m"):
            if abs(_SIZES[unit] - unit_m(plan)) > 1e-5:
                yield read(f"in the CRS of the archive, but in {'feet' if unit == 'ft' else 'metres'}",
                           f"say CRS {plan.authid()} and COORDINATE_UNIT {unit}.", source=plan,
                           scale=_SIZES[unit] / unit_m(plan))  # fmt: skip
    centre = goal.box.center()
    lonlat = ToPlan(plan, degrees, to_plan.context).place(np.array([[centre.x(), centre.y()]]))
    if np.isfinite(lonlat).all():
        zone = utm_zone(*lonlat[0].tolist())
        yield read(f"in {zone.description()}", f"say CRS {zone.authid()}.", source=zone, scale=1.0)
