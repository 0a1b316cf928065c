"""Follows the table of accepted findings of an archive, edits that are not saved included."""

from __future__ import annotations

from qgis.PyQt import sip
from qgis.PyQt.QtCore import QObject, QTimer

from ..qgis_layer.accepted import NAME, accepted_in

_SETTLE_MS = 50  # many rows in one edit are one change


class AcceptedWatch(QObject):
    """Has `session` judge its findings again after every change of the table."""

    def __init__(self, session):
        super().__init__(session)
        self._session, self._layer = session, None
        self._settle = QTimer(self)
        self._settle.setSingleShot(True)
        self._settle.setInterval(_SETTLE_MS)
        self._settle.timeout.connect(session.judge_accepted)

    def watch(self, archive):
        """From now on that of this archive."""
        self._layer = archive.layers.get(NAME)
        for signal in self._signals():
            signal.connect(self._start)

    def stop(self):
        self._settle.stop()
        for signal in self._signals():
            signal.disconnect(self._start)
        self._layer = None

    def judged(self, findings):
        """A FindingsView beside what is accepted now; None where there are no findings."""
        if findings is None or self._session.archive is None or sip.isdeleted(self._session.archive.drains):
            return findings
        return findings.judged(accepted_in(self._session.archive))

    def _signals(self):
        layer = self._layer
        if layer is None or sip.isdeleted(layer):  # else its signals are gone with it
            return ()
        return (layer.featureAdded, layer.featureDeleted, layer.attributeValueChanged, layer.dataChanged,
                layer.afterCommitChanges, layer.afterRollBack)

    def _start(self, *_):
        self._settle.start()
