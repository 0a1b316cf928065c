"""Watches the saves of an archive's layers: what somebody else changed meanwhile is shown before it is overwritten."""

from __future__ import annotations

from qgis.core import Qgis
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QCoreApplication, QObject
from qgis.PyQt.QtWidgets import QMessageBox

from ..qgis_layer.archive import ArchiveError
from ..qgis_layer.file_lock import is_locked
from ..qgis_layer.project_layers import BY_HAND
from ..qgis_layer.save_guard import SaveGuard

_MOST_SHOWN = 12


def tr(text):
    return QCoreApplication.translate("Guards", text)


class Guards(QObject):
    """One guard a layer of the archive chosen in `session`."""

    def __init__(self, session, iface, parent=None):
        super().__init__(parent)
        self._session, self._iface = session, iface
        self._archive, self._guards = None, []
        session.changed.connect(self._follow)
        self._follow()

    def release(self):
        for guard in self._guards:
            if not sip.isdeleted(guard.layer):
                guard.release()
        self._guards, self._archive = [], None

    def _follow(self):
        """Guard the layers of the archive that is chosen now."""
        archive = self._session.archive
        if archive is self._archive or (archive is not None and is_locked(archive.place)):
            return
        self.release()
        self._archive = archive
        own = archive is not None and archive.place != BY_HAND
        for name, layer in archive.layers.items() if own else ():
            if name == "history" or layer.readOnly():
                continue
            try:
                self._guards.append(SaveGuard(layer, self.decide, self.tell))
            except ArchiveError:  # lines of another make: there is no history to compare with
                return

    def decide(self, conflicts):
        """Ask whether to save over what somebody else changed; no is the answer that loses nothing."""
        box = QMessageBox(QMessageBox.Icon.Warning, "Fallkeeper", tr(
            "Somebody else changed what you changed too. If you save all the same, yours takes the place of theirs; "
            "the history keeps both."
        ), QMessageBox.StandardButton.Save | QMessageBox.StandardButton.Cancel, self._iface.mainWindow())
        box.setInformativeText(_listed(conflicts))
        box.setDefaultButton(QMessageBox.StandardButton.Cancel)
        return box.exec() == QMessageBox.StandardButton.Save

    def tell(self, conflicts):
        """Say what a save has overwritten that came in while it was under way."""
        self._iface.messageBar().pushMessage(
            "Fallkeeper", f"{tr('Saved over what came in meanwhile; the history keeps it')}: {_listed(conflicts)}",
            Qgis.MessageLevel.Warning,
        )


def _listed(conflicts):
    said = [conflict.sentence for conflict in conflicts[:_MOST_SHOWN]]
    more = len(conflicts) - len(said)
    return "\n".join(said + ([f"{more:,} {tr('more')}"] if more else []))
