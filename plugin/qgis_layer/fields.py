"""Fields of result layers; the one place that knows how this QGIS names field types."""

from __future__ import annotations

from qgis.core import QgsField, QgsFields
from qgis.PyQt.QtCore import QVariant  # the only spelling that QGIS 3.22 takes; Qt6 builds of QGIS keep it

_TYPES = {"text": QVariant.String, "real": QVariant.Double, "integer": QVariant.Int, "boolean": QVariant.Bool}


def make_fields(spec: dict[str, str], aliases: dict[str, str] | None = None) -> QgsFields:
    """Fields from name -> kind (text, real, integer, boolean), with aliases for people."""
    fields = QgsFields()
    for name, kind in spec.items():
        field = QgsField(name, _TYPES[kind])
        field.setAlias((aliases or {}).get(name, ""))
        fields.append(field)
    return fields
