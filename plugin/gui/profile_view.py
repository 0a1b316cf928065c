"""Shows a long section: the drawing of the reports, with a line under the cursor that tells what is there."""

from __future__ import annotations

from pathlib import Path

from qgis.PyQt.QtCore import QByteArray, QCoreApplication, QRectF, QSize, Qt, pyqtSignal
from qgis.PyQt.QtGui import QColor, QImage, QPainter, QPen
from qgis.PyQt.QtSvg import QSvgRenderer
from qgis.PyQt.QtWidgets import QWidget

_LEAST_WIDE, _LEAST_HIGH = 640, 470  # the drawing's own pixels; a smaller panel shows all of it, made smaller
_PICTURE_WIDE, _PICTURE_HIGH, _PICTURE_SCALE = 1200, 620, 2
_CURSOR, _INK = QColor(120, 40, 120), QColor(20, 20, 20)
_GAP = 6
_WORDS_FROM = 0.4  # share of the width that the title keeps for itself


def tr(text):
    return QCoreApplication.translate("ProfileView", text)


class ProfileView(QWidget):
    """`hovered`: the station under the cursor in metres, None where there is none."""

    hovered = pyqtSignal(object)

    def __init__(self, parent=None):
        super().__init__(parent)
        self.profile = None
        self._renderer = self._frame = self._at_m = None
        self.setMouseTracking(True)
        self.setMinimumSize(280, 180)

    def sizeHint(self):
        return QSize(900, 420)

    def show_profile(self, profile):
        """A report.profile_data.Profile; None: nothing."""
        self.profile, self._at_m = profile, None
        self._draw()

    def mark(self, station_m):
        """Put the line of the cursor at a station; None takes it away."""
        self._at_m = station_m
        self.update()

    def said_at(self, station_m):
        """What is at a station, in words."""
        from ..report.profile_words import said_at

        return "" if self.profile is None else said_at(self.profile, station_m)

    def save(self, path):
        """Write the drawing as .svg or .png, or its figures as .csv, by the ending of the name."""
        from ..report.profile import profile_svg
        from ..report.profile_words import as_csv

        path = Path(path)
        ending = path.suffix.lower()
        if ending == ".csv":
            path.write_text(as_csv(self.profile), encoding="utf-8", newline="")
        elif ending == ".svg":
            path.write_text(profile_svg(self.profile, _PICTURE_WIDE, _PICTURE_HIGH), encoding="utf-8")
        else:
            picture = QImage(_PICTURE_SCALE * _PICTURE_WIDE, _PICTURE_SCALE * _PICTURE_HIGH,
                             QImage.Format.Format_RGB32)
            picture.fill(QColor(255, 255, 255))
            painter = QPainter(picture)
            _renderer_of(profile_svg(self.profile, _PICTURE_WIDE, _PICTURE_HIGH)).render(painter)
            painter.end()
            if not picture.save(str(path)):
                raise OSError(f"{path} could not be written: choose another folder, or a name ending in .png.")

    def paintEvent(self, event):
        if self._renderer is None:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        self._renderer.render(painter, QRectF(self.rect()))
        if self._at_m is not None:
            self._draw_cursor(painter)

    def resizeEvent(self, event):
        self._draw()

    def mouseMoveEvent(self, event):
        self.mark(self._station_at(event.pos().x()))
        self.hovered.emit(self._at_m)

    def leaveEvent(self, event):
        self.mark(None)
        self.hovered.emit(None)

    def _draw(self):
        """The drawing anew, for the size the panel has."""
        self._renderer = self._frame = None
        if self.profile is not None:
            from ..report.profile import profile_frame, profile_svg

            size = self._paper()
            self._frame = profile_frame(self.profile, *size)
            self._renderer = _renderer_of(profile_svg(self.profile, *size))
        self.setAccessibleName(self._renderer and tr("Long section: {}").format(self.profile.title) or "")
        self.update()

    def _paper(self):
        """Width and height of the drawing in its own pixels."""
        wide, high = max(self.width(), 1), max(self.height(), 1)
        scale = max(_LEAST_WIDE / wide, _LEAST_HIGH / high, 1.0)
        return wide * scale, high * scale

    def _station_at(self, x):
        if self._frame is None:
            return None
        frame, drawn = self._frame, x * self._paper()[0] / max(self.width(), 1)
        if not frame.left <= drawn <= frame.right:
            return None
        return frame.x_from_m + (drawn - frame.left) / frame.x_px_per_m

    def _draw_cursor(self, painter):
        scale = self.width() / self._paper()[0]
        x = self._frame.x(self._at_m) * scale
        top, bottom = self._frame.top * scale, self._frame.bottom * scale
        painter.setPen(QPen(_CURSOR, 1.5, Qt.PenStyle.DashLine))
        painter.drawLine(int(x), int(top), int(x), int(bottom))
        words = ", ".join(self.said_at(self._at_m).splitlines())
        room = QRectF(self.width() * _WORDS_FROM, _GAP, self.width() * (1.0 - _WORDS_FROM) - _GAP, top - 2 * _GAP)
        painter.setPen(_INK)
        painter.drawText(room, int(Qt.AlignmentFlag.AlignRight | Qt.TextFlag.TextWordWrap), words)


def _renderer_of(svg):
    return QSvgRenderer(QByteArray(svg.encode("utf-8")))
