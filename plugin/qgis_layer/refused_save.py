"""Makes the save of a layer fail as a whole, with all edits kept.

QGIS gives Python no way to refuse a save (`setAllowCommit` is left out of its bindings), and a save that is under way
cannot be stopped. So something that the file or the database has to refuse is put among the edits, where QGIS writes
it first and gives up; it is taken out again right after.
"""

from __future__ import annotations

from qgis.core import QgsField, QgsVectorLayer
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QTimer, QVariant

# shown by QGIS among the reasons why the save failed
REASON = "Not saved: somebody else changed rows that were changed here"
_NO_ROW = 2_147_483_647


def refuse_save(layer: QgsVectorLayer) -> bool:
    """Let the save fail that has just been announced by `beforeCommitChanges`; False if that cannot be done."""
    layer.beginEditCommand(REASON)
    if layer.providerType() == "postgres":
        # words for the row number, of a row that is not there
        refused = layer.changeAttributeValue(_NO_ROW, layer.fields().indexOf("fid"), REASON)
    else:
        # a column that every GeoPackage has
        refused = layer.addAttribute(QgsField("FID", QVariant.String))
    layer.endEditCommand()
    QTimer.singleShot(0, lambda: take_out(layer))
    return refused


def is_refused_here(layer: QgsVectorLayer) -> bool:
    """Whether `refuse_save` made the save fail that is being made."""
    return layer.undoStack().canUndo() and layer.undoStack().undoText() == REASON


def take_out(layer: QgsVectorLayer) -> None:
    """Take out what `refuse_save` put in, if it is still there."""
    if sip.isdeleted(layer):
        return
    if is_refused_here(layer):
        layer.undoStack().undo()
