"""Read an archive and a layout for a comparison. Most of it loaded only while an algorithm runs."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from qgis.core import (
    QgsCoordinateReferenceSystem,
    QgsCsException,
    QgsFeatureSource,
    QgsProcessingException,
    QgsVectorLayer,
)

from ..plugin.qgis_layer.archive import open_layer
from ..plugin.qgis_layer.archive_error import ArchiveError
from ..plugin.qgis_layer.archive_info import ArchiveInfo
from ..plugin.qgis_layer.archive_place import place_of
from ..plugin.qgis_layer.crs import unit_m, units_for
from ..plugin.qgis_layer.database_place import DatabasePlace
from ..plugin.units import Units

# layers of a file in archive form that come with its drains
_BESIDE = ("structures", "shots", "layouts")


@dataclass(frozen=True)
class LayoutInputs:
    """Where everything is read from; made on the main thread.

    `archive_units` are those of the archive's figures, `layout_units` those of the layout's; `units` those of lengths
    the user gave and of results. `beside`: the file in archive form that the layout lies in; None for other lines.
    No layer is held: QGIS may be closed before this is cleared away.
    """

    path: Path | DatabasePlace
    crs: QgsCoordinateReferenceSystem
    info: ArchiveInfo
    source: QgsFeatureSource
    renamed: dict[str, str]
    archive_units: Units
    layout_units: Units
    units: Units
    beside: Path | None
    transform_context: object

    @classmethod
    def of(
        cls, path: Path | DatabasePlace, source: QgsFeatureSource, layer: QgsVectorLayer | None,
        renamed: dict[str, str], choice: str, context,
    ) -> LayoutInputs:
        try:
            drains = open_layer(path, "drains")
        except ArchiveError as fault:
            raise QgsProcessingException(str(fault)) from None
        info, crs = ArchiveInfo.beside(drains), drains.crs()
        beside = file_beside(layer)
        own = ArchiveInfo.beside(layer).units if beside is not None else None
        return cls(
            path, crs, info, source, renamed, units_for("auto", crs, info.units),
            units_for(choice, crs, own or info.units), units_for(choice, crs, info.units), beside,
            context.transformContext(),
        )

    def sourceCrs(self) -> QgsCoordinateReferenceSystem:
        """The CRS of all results, asked for as of a source."""
        return self.crs


def file_beside(layer: QgsVectorLayer | None) -> Path | None:
    """The file in archive form that a layer lies in; None where it lies in no such file."""
    place = place_of(layer) if layer is not None else None
    return place if isinstance(place, Path) and ArchiveInfo.beside(layer).units is not None else None


def compare(inputs: LayoutInputs, tolerance_m: float, accept_proposed: bool, feedback):
    """The comparison, as plugin.compare.judge.Comparison."""
    from ..plugin.compare.given import CompareCanceledError, Settings
    from ..plugin.compare.judge import compare_layout
    from ..plugin.limits import LimitError, Limits

    try:
        limits = Limits(inputs.info.limits, inputs.units.foot_m)
    except LimitError as error:
        raise QgsProcessingException(str(error)) from None
    archive = read_archive(inputs, feedback)
    feedback.setProgress(30)
    layout = read_layout(inputs, feedback)
    feedback.setProgress(40)
    settings = Settings(limits, inputs.units, tolerance_m, accept_proposed, feedback.isCanceled)
    try:
        return compare_layout(archive, layout, settings)
    except CompareCanceledError:
        raise QgsProcessingException("Canceled.") from None


def read_archive(inputs: LayoutInputs, feedback):
    """The archive as plugin.compare.given.Archive; its drains in bulk."""
    from ..plugin.compare.given import Archive
    from ..plugin.qgis_layer.arrow import is_plain
    from ..plugin.tables import Drains, Land, Shots, Structures
    from .read_inputs import read

    frame = _frame(inputs, inputs.archive_units)

    def layer(name: str):
        opened = open_layer(inputs.path, name)
        return read(opened, name, frame, feedback, plain_source=opened.source() if is_plain(opened) else "")

    land = layer("land")
    return Archive(
        Drains.from_frame(layer("drains")), Structures.from_frame(layer("structures")),
        Shots.from_frame(layer("shots")),
        Land.from_frame(land) if len(land) else None,
    )


def read_layout(inputs: LayoutInputs, feedback):
    """The layout as plugin.compare.given.Layout, brought to the archive's coordinate reference system."""
    from ..plugin.compare.given import Layout
    from ..plugin.tables import Drains, Shots, Structures
    from .read_inputs import read

    frame = _frame(inputs, inputs.layout_units)
    try:
        drains = Drains.from_frame(read(inputs.source, "drains", frame, feedback, inputs.renamed))
        if inputs.beside is None:
            return Layout.of_lines(drains).with_names()
        structures, shots = (read(open_layer(inputs.beside, name), name, frame, feedback) for name in _BESIDE[:2])
    except QgsCsException as fault:
        raise QgsProcessingException(
            f"The layer '{inputs.source.sourceName()}' cannot be brought to the archive's coordinate reference system: "
            f"{fault}. Set the one it was drawn in."
        ) from None
    return Layout(drains, Structures.from_frame(structures), Shots.from_frame(shots)).with_names()


def _frame(inputs: LayoutInputs, units: Units):
    from ..plugin.qgis_layer.read import Frame

    return Frame(inputs.crs, inputs.transform_context, units)


def plan_unit_m(inputs: LayoutInputs) -> float:
    """Metres of the unit of the archive's plan."""
    return unit_m(inputs.crs)


def read_brought(inputs: LayoutInputs, count: int):
    """The layout as plugin.compare.brought.Brought, its drains in the order in which they were compared."""
    from ..plugin.compare.brought import Brought
    from ..plugin.qgis_layer.read import read_rows
    from .brought_rows import brought_rows

    crs = inputs.crs

    def rows(source, name: str, renamed: dict[str, str]):
        return brought_rows(
            source, name, crs, inputs.transform_context, inputs.layout_units, inputs.archive_units, renamed
        )

    drains = rows(inputs.source, "drains", inputs.renamed)
    if len(drains) != count:
        raise QgsProcessingException(
            f"The layer '{inputs.source.sourceName()}' was changed while it was read: run again. Nothing was changed."
        )
    if inputs.beside is None:
        return Brought(inputs.source.sourceName(), drains)
    structures, shots, layouts = (open_layer(inputs.beside, name) for name in _BESIDE)
    return Brought(
        inputs.source.sourceName(), drains, _with_points(rows(structures, "structures", {})),
        _with_points(rows(shots, "shots", {})), _about_layouts(read_rows(layouts)),
    )


def _with_points(rows: list) -> list:
    """The engine leaves out rows without a place; so do we, to count alike."""
    return [row for row in rows if row.shape is not None]


def _about_layouts(rows: list[dict]) -> list[dict]:
    """Rows of `layouts` as the archive keeps them."""
    from ..plugin.schema import layer

    names = {field.name for field in layer("layouts").fields} - {"edited_by"}
    return [
        {name: value.toString("yyyy-MM-dd") if hasattr(value, "toString") else value
         for name, value in row.items() if name in names}
        for row in rows
    ]


def change_of_chosen(compared, chosen):
    """What the chosen lines change, as plugin.compare.change.Change."""
    from ..plugin.compare.classes import JOIN, REPLACE, TAKE
    from ..plugin.compare.judge import change_of

    return change_of(compared, chosen.rows(TAKE), chosen.rows(REPLACE), chosen.rows(JOIN))
