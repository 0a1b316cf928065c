"""What a CRS means for lengths: refused where it counts in degrees, else the exact size of its unit."""

from __future__ import annotations

from osgeo import osr
from qgis.core import QgsCoordinateReferenceSystem

from ..units import FOOT_M, METRIC, US, Units

AUTO = "auto"


def complaint_about(crs: QgsCoordinateReferenceSystem, layer: str) -> str:
    """Why lengths cannot be measured in this CRS and what to do; empty where they can."""
    if not crs.isValid():
        return f"The layer '{layer}' has no coordinate reference system: set the one it was drawn in."
    if counts_in_degrees(crs):
        name = crs.authid() or crs.description()
        return (
            f"The layer '{layer}' is in degrees ({name}), in which no length or fall can be measured: save it "
            "in a projected CRS of the county, in feet or metres, and run again."
        )
    return ""


def counts_in_degrees(crs: QgsCoordinateReferenceSystem) -> bool:
    """Whether coordinates are longitudes and latitudes. QGIS may not know it of a CRS that is not in its database."""
    return crs.isGeographic() or bool(_definition(crs).IsGeographic())


def unit_m(crs: QgsCoordinateReferenceSystem) -> float:
    """Metres a unit of the CRS. QGIS 3.22 calls both feet the same, so the definition itself is asked."""
    return _definition(crs).GetLinearUnits()


def _definition(crs: QgsCoordinateReferenceSystem) -> osr.SpatialReference:
    reference = osr.SpatialReference()
    definition = crs.toWkt()
    if definition:  # GDAL raises over an empty one where something in the process has asked it to raise
        reference.ImportFromWkt(definition)
    return reference


def units_for(choice: str, crs: QgsCoordinateReferenceSystem, archive_units: str | None = None) -> Units:
    """The units a run shows: as chosen, else those of the archive, else feet for a CRS in feet."""
    size_m = unit_m(crs)
    in_feet = abs(size_m - FOOT_M) < 1e-5
    system = choice if choice != AUTO else archive_units or (US if in_feet else METRIC)
    return Units(system, size_m if in_feet else FOOT_M)
