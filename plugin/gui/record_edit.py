"""Rows added and changed from the panel: each one edit that can be undone, in the layer's edit buffer, never saved."""

from __future__ import annotations

from contextlib import contextmanager

from qgis.core import QgsFeature, QgsVectorLayerUtils
from qgis.PyQt.QtCore import QCoreApplication, QDate, QDateTime, Qt, QVariant

from ..qgis_layer.archive_edit import into_edit_mode, user_name


def tr(text):
    return QCoreApplication.translate("RecordEdit", text)


class RecordEditError(Exception):
    """A sentence: why nothing was written."""


def add_row(layer, geometry, values, words):
    """Add a row to the edit buffer, with the layer's own defaults beside `values` by field name; gives its feature.

    `words` name the edit in the list of undo steps. Raises RecordEditError.
    """
    fields = layer.fields()
    given = {fields.lookupField(name): _fitting(fields, name, value) for name, value in values.items()
             if fields.lookupField(name) >= 0 and value is not None}
    with one_edit(layer, words):
        made = QgsFeature(QgsVectorLayerUtils.createFeature(layer, geometry, given))
        if not layer.addFeature(made):
            raise RecordEditError(tr("Nothing could be added to '{}': see the log messages.").format(layer.name()))
    layer.triggerRepaint()
    return made


def add_rows(layer, data, words):
    """Add rows (QgsVectorLayerUtils.QgsFeatureData) with the layer's own defaults in one edit. Raises RecordEditError.
    """
    with one_edit(layer, words):
        if not layer.addFeatures(QgsVectorLayerUtils.createFeatures(layer, data)):
            raise RecordEditError(tr("Nothing could be added to '{}': see the log messages.").format(layer.name()))
    layer.triggerRepaint()


def delete_rows(layer, numbers, words):
    """Delete rows in one edit. Raises RecordEditError."""
    with one_edit(layer, words):
        if not layer.deleteFeatures(numbers):
            raise RecordEditError(tr("Nothing could be deleted from '{}': see the log messages.").format(layer.name()))


def change_row(layer, number, values, words):
    """Change fields of a row in the edit buffer, and who edited it. Raises RecordEditError."""
    fields = layer.fields()
    with one_edit(layer, words):
        for name, value in {**values, "edited_by": user_name()}.items():
            at = fields.lookupField(name)
            if at >= 0 and not layer.changeAttributeValue(number, at, _fitting(fields, name, value)):
                raise RecordEditError(
                    tr("The field '{}' of '{}' could not be changed: see the log messages.").format(name, layer.name()))
    layer.triggerRepaint()


def _fitting(fields, name, value):
    """Days and times, given as text, as the field holds them."""
    kind = fields.field(name).type()
    if kind == QVariant.Date:
        return QDate.fromString(value, Qt.DateFormat.ISODate)
    return QDateTime.fromString(value, Qt.DateFormat.ISODate) if kind == QVariant.DateTime else value


@contextmanager
def one_edit(layer, words):
    """One step to undo; nothing where it fails. Raises RecordEditError where the layer is read-only."""
    if not into_edit_mode(layer):
        raise RecordEditError(tr(
            "The layer '{}' is read-only, so nothing was written. Copy the archive to a place where you may write."
        ).format(layer.name()))
    layer.beginEditCommand(words)
    try:
        yield
    except BaseException:
        layer.destroyEditCommand()
        raise
    layer.endEditCommand()
