"""Says, after a save that was refused, what of the archive was written and what was not. It saves nothing itself."""

from __future__ import annotations

from functools import partial

from qgis.core import Qgis
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QObject, QTimer

from ..answers.said_save import LayerSave, Rows, said_refused
from ..qgis_layer.file_lock import is_locked
from ..qgis_layer.refused_save import is_refused_here

_LOCKED = "database is locked"


class SaveWatch(QObject):
    """Follows the layers of the archive in `session`; a save of several layers at one go is told as one."""

    def __init__(self, session, iface, parent=None):
        super().__init__(parent)
        self._session, self._iface = session, iface
        self._archive, self._watched = None, []
        self._under_way = {}  # id of a layer -> what was written of it, since its save began
        self._soon = QTimer(self)  # QGIS tells Python nothing at the end of a save that failed
        self._soon.setSingleShot(True)
        self._soon.setInterval(0)
        self._soon.timeout.connect(self._tell)
        session.changed.connect(self._follow)
        self._follow()

    def release(self):
        for layer, signal, slot in self._watched:
            if not sip.isdeleted(layer):  # else its signals are gone with it
                signal.disconnect(slot)
        self._watched, self._archive = [], None

    def _follow(self):
        archive = self._session.archive
        if archive is self._archive:
            return
        self.release()
        self._archive = archive
        for layer in archive.layers.values() if archive is not None else ():
            for signal, slot in (
                (layer.beforeCommitChanges, partial(self._begin, layer)),
                (layer.committedFeaturesAdded, partial(self._wrote, "added")),
                (layer.committedAttributeValuesChanges, partial(self._wrote, "changed")),
                (layer.committedGeometriesChanges, partial(self._wrote, "moved")),
                (layer.committedFeaturesRemoved, partial(self._wrote, "deleted")),
                (layer.committedAttributesAdded, partial(self._wrote, "columns")),
                (layer.committedAttributesDeleted, partial(self._wrote, "columns")),
            ):
                signal.connect(slot)
                self._watched.append((layer, signal, slot))

    def _begin(self, layer, *_):
        """A save begins; one that somebody stopped before it began needs no words."""
        if is_refused_here(layer):
            return
        self._under_way[layer.id()] = (layer, {})
        self._soon.start()

    def _wrote(self, what, layer_id, rows):
        if layer_id in self._under_way:
            written = self._under_way[layer_id][1]
            written[what] = written.get(what, 0) + len(rows)

    def _tell(self):
        saves, self._under_way = list(self._under_way.values()), {}
        beside = (_LOCKED,) if saves and self._archive is not None and is_locked(self._archive.place) else ()
        said = said_refused([_save(layer, written, beside) for layer, written in saves if not sip.isdeleted(layer)])
        if said:
            self._iface.messageBar().pushMessage("Fallkeeper", said, Qgis.MessageLevel.Critical, 0)


def _save(layer, written, beside):
    """`beside`: what is known besides the errors that QGIS reports, which may be those of another moment."""
    buffer = layer.editBuffer() if layer.isModified() else None
    if buffer is None:
        return LayerSave(layer.name(), Rows(**written), Rows())
    kept = Rows(
        len(buffer.addedFeatures()), len(buffer.changedAttributeValues()), len(buffer.changedGeometries()),
        len(buffer.deletedFeatureIds()), len(buffer.addedAttributes()) + len(buffer.deletedAttributeIds()),
    )
    errors = tuple(layer.commitErrors())
    return LayerSave(layer.name(), Rows(**written), kept, (*beside, *errors) if errors else ())
