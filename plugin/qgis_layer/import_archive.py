"""The archive an import is meant for: its CRS, units, limits, where its land and drains lie, what is drawn of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import shapely
from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsFeatureRequest,
    QgsProviderRegistry,
    QgsRectangle,
    QgsVectorLayer,
)

from .archive import open_layer
from .archive_error import ArchiveError
from .archive_info import ArchiveInfo
from .crs import unit_m, units_for
from .database_place import DatabasePlace

_MOST_DRAWN = 3_000


@dataclass(frozen=True)
class ImportArchive:
    """`place` is None where no archive was named; then nothing else is known either."""

    place: Path | DatabasePlace | None = None
    info: ArchiveInfo = field(default_factory=ArchiveInfo)
    crs: QgsCoordinateReferenceSystem = field(default_factory=QgsCoordinateReferenceSystem)
    box: QgsRectangle | None = None

    @classmethod
    def of(cls, layer: QgsVectorLayer | None) -> ImportArchive:
        """The archive a layer belongs to. Raises ArchiveError. To be called on the main thread."""
        if layer is None:
            return cls()
        place: Path | DatabasePlace | None = DatabasePlace.of_layer(layer)
        if place is None:
            path = QgsProviderRegistry.instance().decodeUri(layer.providerType(), layer.source()).get("path") or ""
            place = Path(path)
        info = ArchiveInfo.beside(layer)
        if info.units is None:
            raise ArchiveError(
                f"'{layer.name()}' lies in no archive of Fallkeeper: choose a layer of one, or its file."
            )
        drains, land = open_layer(place, "drains"), open_layer(place, "land")
        box = QgsRectangle()
        box.setMinimal()
        for one in (drains, land):
            if one.featureCount() > 0:
                box.combineExtentWith(one.extent())
        return cls(place, info, drains.crs(), None if box.isEmpty() else box)

    def length_m(self, units: str, crs: QgsCoordinateReferenceSystem, foot_m: float) -> float:
        """Metres of the unit in which lengths are said to a run."""
        known = self.crs if self.crs.isValid() else crs
        if known.isValid():
            return units_for(units, known, self.info.units).length_m
        return 1.0 if units == "metric" else foot_m

    def drawn_in(self, box_m: tuple[float, float, float, float]) -> tuple[np.ndarray, np.ndarray]:
        """Drains and land that lie in a box, in metres; not more than can be seen."""
        none = np.empty(0, dtype=object)
        if self.place is None:
            return none, none
        size = unit_m(self.crs)
        box = QgsRectangle(*(value / size for value in box_m))
        return _shapes(open_layer(self.place, "drains"), box, size), _shapes(open_layer(self.place, "land"), box, size)


def _shapes(layer: QgsVectorLayer, box: QgsRectangle, size_m: float) -> np.ndarray:
    request = QgsFeatureRequest(box)
    request.setNoAttributes()
    request.setLimit(_MOST_DRAWN)
    wkb = [feature.geometry().asWkb().data() for feature in layer.getFeatures(request)]
    shapes = shapely.from_wkb(np.array([*wkb, None], dtype=object))[:-1]
    return shapely.transform(shapes, lambda xy: xy * size_m) if len(shapes) else shapes
