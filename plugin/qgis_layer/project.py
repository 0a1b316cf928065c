"""Puts an archive into a project: layers in groups, rows that belong together related, editing set up."""

from __future__ import annotations

from pathlib import Path

from qgis.core import (
    QgsAttributeEditorRelation,
    QgsProject,
    QgsRelation,
    QgsRelationContext,
    QgsSnappingConfig,
    QgsTolerance,
    QgsVectorLayer,
)

from ..schema import LAYERS, layer
from ..units import US, Units
from .archive import open_layer
from .archive_info import ArchiveInfo
from .archive_styles import dress
from .database_place import DatabasePlace
from .forms import new_page

# from the top of the map to the bottom
GROUPS = {
    "Calls and readings": ("calls", "readings", "repairs", "shots"),
    "Pipes": ("structures", "drains"),
    "Landmarks and trees": ("landmarks", "trees", "tree_rows", "woods"),
    "Land": ("land",),
    "Lines of layouts": ("layout_lines",),
    "Tables": ("tapes", "layouts", "limits", "accepted", "predictions", "history", "archive"),
}
_FOLDED = ("Lines of layouts", "Tables")
_HIDDEN = ("layout_lines",)  # looked at beside the drains only when asked about
_SNAPPED_TO = ("drains", "structures", "shots", "landmarks")
_SNAPPING_PIXELS = 12.0


def add_archive(
    project: QgsProject, place: Path | DatabasePlace, leave_out: tuple[str, ...] = ()
) -> dict[str, QgsVectorLayer]:
    """Add the layers of the archive in `place` to `project` and return them by their names in the schema."""
    layers = {}
    for group_name, all_names in GROUPS.items():
        names = [name for name in all_names if name not in leave_out]
        if not names:
            continue
        group = project.layerTreeRoot().addGroup(group_name)
        group.setExpanded(group_name not in _FOLDED)
        for name in names:
            layers[name] = open_layer(place, name)
            _dress_where_bare(layers[name], name)
            project.addMapLayer(layers[name], False)
            node = group.addLayer(layers[name])
            node.setExpanded(False)
            node.setItemVisibilityChecked(name not in _HIDDEN)
    if "history" in layers:
        layers["history"].setReadOnly(True)
    _add_relations(project, layers)
    return layers


def _dress_where_bare(opened: QgsVectorLayer, name: str) -> None:
    """Where a database may keep no styles, form and symbols come from here."""
    if not any(opened.attributeAlias(index) for index in range(opened.fields().count())):
        dress(opened, name, Units(ArchiveInfo.beside(opened).units or US))


def _add_relations(project: QgsProject, layers: dict[str, QgsVectorLayer]) -> None:
    """Relate by the text keys; the form of the row referred to gets a page with the rows that name it.

    Rows of the same layer get none: a form does not hold its own rows.
    """
    for declared in LAYERS:
        for field in declared.fields:
            if field.refers_to == declared.name or not {declared.name, field.refers_to} <= set(layers):
                continue
            relation = QgsRelation(QgsRelationContext(project))
            relation.setId(f"{layers[declared.name].id()}_{field.name}")  # a project may hold two archives
            twice = sum(other.refers_to == field.refers_to for other in declared.fields) > 1
            relation.setName(f"{declared.title}, {field.alias.lower()}" if twice else declared.title)
            relation.setReferencedLayer(layers[field.refers_to].id())
            relation.setReferencingLayer(layers[declared.name].id())
            relation.addFieldPair(field.name, layer(field.refers_to).key.name)
            project.relationManager().addRelation(relation)
            _show_on_form(layers[field.refers_to], relation)


def _show_on_form(parent: QgsVectorLayer, relation: QgsRelation) -> None:
    config = parent.editFormConfig()
    page = new_page(relation.name(), config)
    rows = QgsAttributeEditorRelation(relation, page)
    rows.setRelationWidgetTypeId("relation_editor")  # QGIS warns where it has to guess
    page.addChildElement(rows)
    config.addTab(page)
    parent.setEditFormConfig(config)


def set_up_editing(project: QgsProject, layers: dict[str, QgsVectorLayer]) -> None:
    """Snap to vertices and segments of pipes and what stands on them, and move shared vertices together.

    The reach is in pixels: in feet it would be nothing on a county's map and a field on a close one.
    """
    snapping = QgsSnappingConfig(project)
    snapping.setEnabled(True)
    snapping.setMode(QgsSnappingConfig.SnappingMode.AdvancedConfiguration)
    vertex_and_segment = QgsSnappingConfig.SnappingTypes.VertexFlag | QgsSnappingConfig.SnappingTypes.SegmentFlag
    for name, snapped in layers.items():
        if snapped.isSpatial():
            settings = QgsSnappingConfig.IndividualLayerSettings(
                name in _SNAPPED_TO, vertex_and_segment, _SNAPPING_PIXELS, QgsTolerance.UnitType.Pixels, 0.0, 0.0
            )
            snapping.setIndividualLayerSettings(snapped, settings)
    project.setSnappingConfig(snapping)
    project.setTopologicalEditing(True)
