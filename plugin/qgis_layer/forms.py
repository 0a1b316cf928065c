"""Forms of an archive's layers: aliases with units, value maps, defaults, the rules, pages of few fields."""

from __future__ import annotations

from collections.abc import Iterator

from qgis.core import (
    Qgis,
    QgsAttributeEditorContainer,
    QgsAttributeEditorField,
    QgsDefaultValue,
    QgsEditFormConfig,
    QgsEditorWidgetSetup,
    QgsFieldConstraints,
    QgsVectorLayer,
)

from ..schema import Field, Layer
from ..schema.rules import rules
from ..units import Units
from .columns import fit_columns

# what a value map stores for "nothing"; QGIS gives it no name in Python on 3.22
_NULL_CHOICE = "{2839923C-8B7D-419E-B84B-CA2FE9B80EC7}"
_KEY_DEFAULT = "uuid('WithoutBraces')"
_USER_DEFAULT = "coalesce(nullif(@user_full_name, ''), @user_account_name)"
_LONG_TEXT = ("note", "about", "found", "done", "reaches", "before", "reason")
_FILES = ("photo", "scan", "ground")
# A change of units would give every figure another meaning; the history is written by the file itself.
_NOT_EDITABLE = {"archive": ("units", "schema_version", "created_on"), "history": ("*",)}


def prepare_form(layer: QgsVectorLayer, declared: Layer, units: Units) -> None:
    """Set aliases, widgets, defaults, constraints and pages of `layer`."""
    for number_field in set(layer.fields().names()) - {field.name for field in declared.fields}:  # fid
        layer.setEditorWidgetSetup(layer.fields().indexOf(number_field), QgsEditorWidgetSetup("Hidden", {}))
    for field in declared.fields:
        index = layer.fields().indexOf(field.name)
        layer.setFieldAlias(index, field.alias_in(units))
        widget = _widget(field)
        if widget is not None:
            layer.setEditorWidgetSetup(index, widget)
        if field.key:
            layer.setDefaultValueDefinition(index, QgsDefaultValue(_KEY_DEFAULT, False))
        if field.name == "edited_by":
            layer.setDefaultValueDefinition(index, QgsDefaultValue(_USER_DEFAULT, True))
    _set_rules(layer, declared)
    layer.setEditFormConfig(_pages(layer, declared))
    fit_columns(layer)
    layer.setDisplayExpression(declared.shown_as)
    layer.setMapTipTemplate("".join(_map_tip(declared, units)))


def _set_rules(layer: QgsVectorLayer, declared: Layer) -> None:
    """Every rule of the file as a hard constraint; NOT NULL and UNIQUE come from the file itself."""
    for rule in rules(declared):
        if rule.holds:
            index = layer.fields().indexOf(rule.field)
            layer.setConstraintExpression(index, rule.holds, rule.sentence)
            layer.setFieldConstraint(
                index,
                QgsFieldConstraints.Constraint.ConstraintExpression,
                QgsFieldConstraints.ConstraintStrength.ConstraintStrengthHard,
            )


def _widget(field: Field) -> QgsEditorWidgetSetup | None:
    """How a field is edited; None leaves it to QGIS, which offers the rows of a relation where there is one."""
    if field.choices or field.kind == "boolean":
        choices = field.choices or {"1": "Yes", "0": "No"}
        entries = [] if field.required else [{"Unknown" if field.kind == "boolean" else "–": _NULL_CHOICE}]
        return QgsEditorWidgetSetup("ValueMap", {"map": entries + [{label: value} for value, label in choices.items()]})
    if field.kind in ("date", "datetime"):
        pattern = "yyyy-MM-dd" if field.kind == "date" else "yyyy-MM-dd HH:mm"
        return QgsEditorWidgetSetup(
            "DateTime",
            {"allow_null": True, "calendar_popup": True, "display_format": pattern, "field_format": pattern},
        )
    if field.name in _FILES:
        relative_to_project = 1
        return QgsEditorWidgetSetup(
            "ExternalResource",
            {"FileWidget": True, "FileWidgetButton": True, "RelativeStorage": relative_to_project, "UseLink": True},
        )
    if field.refers_to:
        return None
    return QgsEditorWidgetSetup("TextEdit", {"IsMultiline": field.name in _LONG_TEXT, "UseHtml": False})


def _pages(layer: QgsVectorLayer, declared: Layer) -> QgsEditFormConfig:
    config = layer.editFormConfig()
    config.setLayout(QgsEditFormConfig.EditorLayout.TabLayout)
    config.clearTabs()
    pages: dict[str, QgsAttributeEditorContainer] = {}
    fixed = _NOT_EDITABLE.get(declared.name, ())
    for field in declared.fields:
        index = layer.fields().indexOf(field.name)
        if field.tab not in pages:
            page = pages[field.tab] = new_page(field.tab, config)
            config.addTab(page)
        pages[field.tab].addChildElement(QgsAttributeEditorField(field.name, index, pages[field.tab]))
        config.setReadOnly(index, field.name in fixed or "*" in fixed)
    return config


def new_page(name: str, config: QgsEditFormConfig) -> QgsAttributeEditorContainer:
    """An empty page of a form in tabs."""
    page = QgsAttributeEditorContainer(name, config.invisibleRootContainer())
    if hasattr(page, "setType"):  # from QGIS 3.32 on, where setIsGroupBox is deprecated
        page.setType(Qgis.AttributeEditorContainerType.Tab)
    else:
        page.setIsGroupBox(False)
    page.setColumnCount(1)
    return page


def _map_tip(declared: Layer, units: Units) -> Iterator[str]:
    """Heading, then one line for each figure and word of the first page that is known."""
    yield f"<b>[% {declared.shown_as} %]</b>"
    for field in declared.fields:
        if field.key or field.name == "name" or field.tab != "Main":
            continue
        shown = f'represent_value("{field.name}")' if field.choices else f'"{field.name}"'
        unit = f" {units.name(field.unit)}" if field.unit else ""
        yield f"[% coalesce('<br>{field.alias}: ' || {shown} || '{unit}', '') %]"
