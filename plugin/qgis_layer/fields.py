"""Fields of result layers; the one place that knows how this QGIS names field types."""

from __future__ import annotations

from qgis.core import Qgis, QgsField, QgsFields
from qgis.PyQt.QtCore import QMetaType, QVariant

if Qgis.QGIS_VERSION_INT >= 33800:
    _TYPES = {
        "text": QMetaType.Type.QString, "real": QMetaType.Type.Double, "integer": QMetaType.Type.Int,
        "boolean": QMetaType.Type.Bool,
    }  # fmt: skip
else:
    _TYPES = {"text": QVariant.String, "real": QVariant.Double, "integer": QVariant.Int, "boolean": QVariant.Bool}


def make_fields(spec: dict[str, str]) -> QgsFields:
    """Fields from name -> kind (text, real, integer, boolean); temporary layers take no aliases here."""
    fields = QgsFields()
    for name, kind in spec.items():
        fields.append(QgsField(name, _TYPES[kind]))
    return fields
