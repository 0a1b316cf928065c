"""ownerpage: a page to print for one owner, with his own data and totals only."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path

from qgis.core import (
    QgsProcessingException,
    QgsProcessingOutputNumber,
    QgsProcessingParameterFileDestination,
    QgsProcessingParameterFolderDestination,
    QgsProcessingParameterString,
)

from .base import bulk_work
from .trace_base import POINT, TraceAlgorithm

OWNER, OUTPUT, FOLDER = "OWNER", "OUTPUT", "FOLDER"


class OwnerPage(TraceAlgorithm):
    """PDF for one owner or for all, a file each."""

    id_ = "ownerpage"
    title = "Owner's page"
    tags_ = ("owner", "page", "print", "pdf", "neighbour", "letter", "privacy")
    help_ = (
        "A page to print for one owner: a map of his own land with the pipe under it, his acres, his share at each "
        "outlet, and how much land of others drains through his pipe. Of the others nothing but totals: no name, no "
        "contact, no parcel, no map of their pipe. A pipe or outlet whose name tells of a neighbour is shown without "
        "it.\n\n"
        "To do: choose the drains with their structures and the land, write the owner as in the land layer, and choose "
        "a file. Leave the owner empty for the pages of all, each in a file of its own in the folder. With a place on "
        "a pipe the page says how much land drains through it, and how much of that is his.\n\n"
        "The page is Letter in us units, A4 in metric ones. Read it before you hand it on."
    )
    land_help = "Fields, lots and roads with their owners."
    land_optional, point_optional = False, True
    point_help = "A plugged place, to say on the page how much land is above it. "

    def init_further(self):
        super().init_further()
        self.add(QgsProcessingParameterString(OWNER, self.tr("Owner (empty: every owner)"), optional=True),
                 "As in the field owner of the land layer.")

    def init_results(self):
        pdf = self.tr("Page of the one owner"), "PDF (*.pdf)"
        self.add(QgsProcessingParameterFileDestination(OUTPUT, *pdf, optional=True, createByDefault=True),
                 "Written where an owner is named.")
        self.add(QgsProcessingParameterFolderDestination(FOLDER, self.tr("Folder for the pages of all owners"),
                                                         optional=True, createByDefault=False),
                 "Written where no owner is named, a file each.")
        self.addOutput(QgsProcessingOutputNumber("PAGE_COUNT", self.tr("Owners")))

    @bulk_work
    def processAlgorithm(self, parameters, context, feedback):
        from ..plugin.owners.sums import OwnerSums

        county = self.read_county(parameters, context, feedback)
        sums = OwnerSums(county, self.read_land(parameters, context, feedback))
        if not len(sums.land):
            raise QgsProcessingException("The layer LAND holds no polygons: choose the layer with fields and owners.")
        place = self.place(county, parameters, context, feedback) if parameters.get(POINT) else None
        feedback.setProgress(30)
        name = (self.parameterAsString(parameters, OWNER, context) or "").strip()
        if name:
            path = self._file(parameters, context)
            self._write(sums, self._number(sums, name), path, place)
            feedback.pushInfo(f"Written: {path}. Read it before you hand it on.")
            return {OUTPUT: str(path), "PAGE_COUNT": 1}
        folder = self.parameterAsString(parameters, FOLDER, context)
        if not folder:
            raise QgsProcessingException("Name an owner, or choose a folder for the pages of all owners.")
        files = self._all(sums, Path(folder), place, feedback)
        feedback.pushInfo(f"Written: {len(files):,} pages to {folder}. Hand each owner his own only.")
        return {FOLDER: folder, "PAGE_COUNT": len(files)}

    def _file(self, parameters, context) -> Path:
        path = self.parameterAsFileOutput(parameters, OUTPUT, context)
        if not path:
            raise QgsProcessingException("Choose the file for the page: OUTPUT.")
        return Path(path)

    def _number(self, sums, name: str) -> int:
        """The owner of that name; capitals do not matter."""
        names = [str(one) if known else "" for one, known in zip(sums.owners.name, sums.owners.known)]
        for number, own in enumerate(names):
            if own.strip().lower() == name.lower():
                return number
        listed = ", ".join(sorted(filter(None, names))[:12])
        raise QgsProcessingException(f"No land of '{name}' is in the layer LAND. Owners there: {listed}.")

    def _all(self, sums, folder: Path, place, feedback) -> list:
        folder.mkdir(parents=True, exist_ok=True)
        known = [number for number, known in enumerate(sums.owners.known.tolist()) if known]
        files = []
        for count, number in enumerate(known):
            if feedback.isCanceled():
                raise QgsProcessingException("Canceled.")
            path = _unused(folder, str(sums.owners.name[number]), files)
            self._write(sums, number, path, place)
            files.append(path)
            feedback.setProgress(30 + 70 * (count + 1) / len(known))
        return files

    def _write(self, sums, owner: int, path: Path, place) -> None:
        from ..plugin.owners.page import owner_page
        from ..plugin.owners.page_text import page_blocks
        from ..plugin.qgis_layer.pdf import write_pdf
        from ..plugin.report.markup import escape
        from .write_results import version

        archive = self.archive.name or self.source.sourceName()
        page = owner_page(sums, owner, archive, date.today().isoformat(), place)
        blocks = page_blocks(page, f"Fallkeeper {version()}")
        try:
            write_pdf(path, page.title, escape(page.title), blocks, sums.county.units.is_us)
        except OSError as error:
            raise QgsProcessingException(str(error)) from None


def _unused(folder: Path, owner: str, taken: list) -> Path:
    """A file for an owner whose name any system takes, not one that was just written."""
    stem = re.sub(r"[^\w .-]+", "_", owner).strip(" .")[:80] or "owner"
    path, number = folder / f"{stem}.pdf", 2
    while any(path.name.lower() == other.name.lower() for other in taken):
        path, number = folder / f"{stem} {number}.pdf", number + 1
    return path
