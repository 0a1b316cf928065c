"""Asking the history of an archive through QGIS."""

from __future__ import annotations

from qgis.core import NULL, QgsFeatureRequest, QgsVectorLayer


def last_number(history: QgsVectorLayer, known: int | None = None) -> int:
    """The last number of a layer `history`; `known`: one that is surely there.

    A GeoPackage's provider may tell the greatest value as it was when another layer of the file was opened, so what
    came after is read.
    """
    provider = history.dataProvider()
    if known is None:
        greatest = provider.maximumValue(history.fields().indexOf("seq"))
        known = 0 if greatest is None or greatest == NULL else int(greatest)
    request = QgsFeatureRequest().setFilterExpression(f'"seq" > {known}').setFlags(QgsFeatureRequest.Flag.NoGeometry)
    request.setSubsetOfAttributes(["seq"], history.fields())
    return max((row["seq"] for row in provider.getFeatures(request)), default=known)
