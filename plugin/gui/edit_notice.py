"""Notices while drains are edited that ends were turned, cut or moved and their figures stayed; mends on a click."""

from __future__ import annotations

from qgis.core import Qgis
from qgis.PyQt import sip
from qgis.PyQt.QtCore import QObject, QTimer

from ..qgis_layer.file_lock import is_locked
from .buttons import push_button
from .counted import counted

_MOST = 2_000  # lines looked at after one edit; more at once are an edit of the layer as a whole
_SHOWN_S = 12


def tr(text, count=-1):
    return counted("EditNotice", text, count)


class EditNotice(QObject):
    """Follows the layer of drains of the archive chosen in `session`. Only what an edit touched is read, once an edit;
    nothing is changed without a click. `behind`: what was left behind and is told now."""

    def __init__(self, session, iface, parent=None):
        super().__init__(parent)
        self._session, self._iface = session, iface
        self._layer, self._mender, self._watch, self._item = None, None, None, None
        self._connected, self._touched, self._is_saving = [], set(), False
        self.behind = []
        self._later = QTimer(self)
        self._later.setSingleShot(True)
        self._later.setInterval(0)
        self._later.timeout.connect(self.look)
        session.changed.connect(self._follow)
        self._follow()

    def release(self):
        """Watch no longer."""
        self._later.stop()
        self._take_back()
        for layer, signal, slot in self._connected:
            if not sip.isdeleted(layer):
                signal.disconnect(slot)
        self._connected, self._layer, self._watch, self._mender = [], None, None, None
        self._touched = set()

    def look(self):
        """Look at what was edited since the last time."""
        touched, self._touched = self._touched, set()
        if self._layer is None or sip.isdeleted(self._layer) or not touched or len(touched) > _MOST:
            return
        from ..qgis_layer.drawn_lines import read_drawn
        from ..qgis_layer.mend_lines import LineMender

        if self._watch is None:
            from ..drain_edits.behind import Watch

            self._mender = LineMender(self._session.archive.layers)
            self._watch = Watch(self._mender.exact)
        unknown = {number for number in touched if number >= 0 and not self._watch.knows(number)}
        before = read_drawn(self._layer, self._layer.dataProvider(), unknown)
        now = read_drawn(self._layer, self._layer, touched)
        self._watch.follow({number: drawn for number, drawn in before.items() if drawn is not None}, now)
        self._tell()

    def mend(self):
        """Set right what was turned or cut, in one edit that can be undone."""
        from ..qgis_layer.mend_lines import MendError

        try:
            plan = self._mender.mend(self._watch.behind(), self._watch)
            more = self._mender.apply(plan)
        except MendError as fault:
            self._say(str(fault), Qgis.MessageLevel.Warning)
            return
        self.look()
        said = tr("%n pipe(s) mended in '{}', not saved yet: save the layer, or undo.", len(plan.changes)).format(
            self._layer.name())
        self._say(" ".join([said, *more]), Qgis.MessageLevel.Info)

    def show_place(self):
        """Zoom to the lines that were left behind, and flash them."""
        canvas = self._iface.mapCanvas()
        numbers = [one.number for one in self.behind]
        canvas.zoomToFeatureIds(self._layer, numbers)
        canvas.flashFeatureIds(self._layer, numbers)

    def _follow(self):
        archive = self._session.archive
        layer = None if archive is None or is_locked(archive.place) else archive.drains
        if layer is self._layer:
            return
        self.release()
        if layer is None or not self._can_watch(layer):
            return
        self._layer = layer
        for signal, slot in (
            (layer.geometryChanged, self._note), (layer.featureAdded, self._note), (layer.featureDeleted, self._note),
            (layer.attributeValueChanged, self._note_value), (layer.beforeCommitChanges, self._before_save),
            (layer.committedFeaturesAdded, self._renumber), (layer.afterCommitChanges, self._after_save),
            (layer.afterRollBack, self._forget),
        ):
            signal.connect(slot)
            self._connected.append((layer, signal, slot))

    def _can_watch(self, layer):
        """Whether figures of the ends are kept under their names, and lengths can be measured."""
        from ..qgis_layer.crs import counts_in_degrees

        names = layer.fields().names()
        return {"invert_start", "invert_end"} <= set(names) and not counts_in_degrees(layer.crs())

    def _note(self, number, *_):
        if not self._is_saving:
            self._touched.add(number)
            self._later.start()

    def _note_value(self, number, column, *_):
        from ..drain_edits.drawn import ENDS

        if self._layer.fields().at(column).name() in ("drain_id", *ENDS):
            self._note(number)

    def _before_save(self, *_):
        self.look()
        self._is_saving = True
        QTimer.singleShot(0, self._saved)  # also where the save fails

    def _saved(self):
        self._is_saving = False

    def _renumber(self, _, features):
        """Lines that were new have their numbers in the file from now on."""
        if self._watch is not None:
            from ..qgis_layer.drawn_lines import columns_of, drawn_of

            columns = columns_of(self._layer)
            for feature in features:
                self._watch.renumber(feature.id(), drawn_of(feature, columns))

    def _after_save(self):
        self._is_saving = False
        if self._watch is not None:
            self._watch.saved()
            self._tell()

    def _forget(self):
        """The edits are gone."""
        self._later.stop()
        self._touched, self._watch = set(), None
        self._tell()

    def _tell(self):
        """Show one message about everything that is left behind now, or none."""
        behind = [] if self._watch is None else self._watch.behind()
        if behind == self.behind:
            return
        self._take_back()
        self.behind = behind
        if not behind:
            return
        from ..drain_edits.behind import MOVED
        from ..drain_edits.words import behind_words

        sentence = behind_words(behind, self._mender.scale.unit, self._mender.units.length_name)
        bar = self._iface.messageBar()
        item = self._item = bar.createMessage("Fallkeeper", sentence[0].upper() + sentence[1:])
        if any(one.how != MOVED for one in behind):
            item.layout().addWidget(push_button(tr("Mend"), tr(
                "Swap the figures of turned lines; at cuts interpolate them, marked as assumed. One edit, not saved, "
                "can be undone."), self.mend))
        item.layout().addWidget(push_button(tr("Show"), tr("Zoom to these pipes and flash them."), self.show_place))
        item.destroyed.connect(lambda: self._closed(item))
        bar.pushWidget(item, Qgis.MessageLevel.Warning)

    def _closed(self, item):
        """Somebody closed the message: it is not said again."""
        if item is self._item:
            self._item, self.behind = None, []
            if self._watch is not None:
                self._watch.let_be()

    def _take_back(self):
        item, self._item, self.behind = self._item, None, []
        if item is not None and not sip.isdeleted(item):
            self._iface.messageBar().popWidget(item)

    def _say(self, sentence, level):
        self._iface.messageBar().pushMessage("Fallkeeper", sentence, level, _SHOWN_S)
