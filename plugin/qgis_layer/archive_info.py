"""What an archive says about itself: its units, datum and limits, found beside the layer somebody chose."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from qgis.core import NULL, QgsVectorLayer

from ..units import SYSTEMS
from .archive_place import place_of
from .database_place import PROVIDER, DatabasePlace


@dataclass(frozen=True)
class ArchiveInfo:
    """Figures of the table `archive` and the rows of `limits`; all empty beside a layer that lies in no archive."""

    path: str = ""  # of a file
    name: str = ""
    units: str | None = None
    vertical_datum: str = ""
    limits: list[dict] = field(default_factory=list)

    @classmethod
    def beside(cls, layer: QgsVectorLayer | None) -> ArchiveInfo:
        """Of the GeoPackage, or the schema of a database, a layer lies in."""
        if layer is None:
            return cls()
        place = place_of(layer)
        if place is None:
            return cls()
        if isinstance(place, DatabasePlace):
            return cls._read("", lambda name: QgsVectorLayer(place.layer_source(name), name, PROVIDER))
        return cls._read(str(place), lambda name: QgsVectorLayer(f"{place}|layername={name}", name, "ogr"))

    @classmethod
    def _read(cls, path: str, open_table: Callable[[str], QgsVectorLayer]) -> ArchiveInfo:
        about = _rows(open_table("archive"))
        units = about[0].get("units") if about else None
        return cls(
            path,
            str(about[0].get("name") or "") if about else "",
            units if units in SYSTEMS else None,
            str(about[0].get("vertical_datum") or "") if about else "",
            _rows(open_table("limits")),
        )


def _rows(layer: QgsVectorLayer) -> list[dict]:
    if not layer.isValid():
        return []
    names = layer.fields().names()
    return [
        {n: None if v == NULL else v for n, v in zip(names, feature.attributes())} for feature in layer.getFeatures()
    ]
