"""Running algorithms in tests: what was said is kept, and the sample county comes in any CRS and unit."""

from __future__ import annotations

import shapely
from fallkeeper.plugin.qgis_layer.crs import unit_m
from fallkeeper.plugin.schema import layer as schema_layer
from fallkeeper.plugin.units import FOOT_M, METRIC, US, US_SURVEY_FOOT_M, Units
from fallkeeper.sample_project import rows
from qgis.core import QgsCoordinateReferenceSystem, QgsProcessingFeedback, QgsVectorLayer
from qgis_layers import layer


class Heard(QgsProcessingFeedback):
    """Keeps what is said, in order."""

    def __init__(self):
        super().__init__()
        self.said = []

    def pushInfo(self, text):
        self.said.append(text)

    def pushWarning(self, text):
        self.said.append(text)

    def reportError(self, text, fatalError=False):  # noqa: N803 (QGIS's own name)
        self.said.append(text)


def county_layers(crs: str = rows.CRS, bridged: bool = False) -> dict[str, QgsVectorLayer]:
    """Layers of the sample county in memory, drawn anew by their feet in the unit of a CRS, figures to match.

    It lies where the CRS has its coordinates of 2,100,000 and 800,000 ft, which need be no land.
    """
    size_m = unit_m(QgsCoordinateReferenceSystem(crs))
    feet = abs(size_m - FOOT_M) < 1e-5
    units = Units(US, size_m) if feet else Units(METRIC)
    scale = US_SURVEY_FOOT_M / size_m
    origin = tuple(scale * value for value in rows.ORIGIN_FT)
    made = {}
    for name, county_rows in rows.layer_rows(bridged).items():
        declared = schema_layer(name)
        if declared.geometry and county_rows:
            drawn = [{"geometry": _shape(declared.geometry, row.places), **_figures(declared, row.values, units)}
                     for row in county_rows]
            made[name] = layer(drawn, crs, name, scale, origin)
    return made


def _figures(declared, values, units):
    sample = Units(US, US_SURVEY_FOOT_M)
    return {
        name: value * sample.size_si(declared.field(name).unit) / units.size_si(declared.field(name).unit)
        if declared.field(name).unit and value is not None
        else value
        for name, value in values.items()
    }


def _shape(kind, places):
    if kind == "Point":
        return shapely.Point(places)
    return shapely.LineString(places) if kind == "LineString" else shapely.Polygon(places[0], places[1:])
