"""Fields of result layers; the one place that knows how this QGIS names field types."""

from __future__ import annotations

from qgis.core import QgsField, QgsFields
from qgis.PyQt.QtCore import QVariant  # the only spelling that QGIS 3.22 takes; Qt6 builds of QGIS keep it

_TYPES = {"text": QVariant.String, "real": QVariant.Double, "integer": QVariant.Int, "boolean": QVariant.Bool}


def make_fields(spec: dict[str, str]) -> QgsFields:
    """Fields from name -> kind (text, real, integer, boolean); temporary layers take no aliases here."""
    fields = QgsFields()
    for name, kind in spec.items():
        fields.append(QgsField(name, _TYPES[kind]))
    return fields
