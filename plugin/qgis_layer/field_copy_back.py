"""Reads a copy that comes back from the field and plans what it brings; writes the plan in one transaction."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from osgeo import gdal
from qgis.core import NULL, QgsExpression, QgsExpressionContext, QgsFeature, QgsFeatureRequest, QgsGeometry

from ..history.batch import Batch, archive_batch
from ..schema import Layer
from ..schema import layer as schema_layer
from ..schema.history import GEOMETRY, NO_SHAPE
from ..schema.rules import fill, literal, place_sentence, quoted, rules
from ..sharing.bring_back import KEEP_ARCHIVE, Change, Plan, plan_layer
from ..sharing.field_copy import ABOUT_TABLE, BASE_TABLE, AboutCopy, key_of_new_row, unpack
from ..sharing.photos import bring_photos
from ..sharing.three_way import INSERT, UPDATE, same
from .archive import open_layer
from .archive_edit import user_name
from .archive_error import ArchiveError
from .archive_info import ArchiveInfo
from .database_batch import DatabaseBatch, changed_meanwhile, database_batch
from .database_place import DatabasePlace
from .field_copy_file import identity_of
from .row_values import kinds_of, plain_feature, plain_stored
from .schema_versions import must_be_current

KIND = "field"  # of the batch in the history
_MOST_KEYS = 500  # in one filter; of more the whole layer is read
_ABOUT = "SELECT about FROM {table}"
_BASE = "SELECT key, row FROM {table} WHERE layer = {layer}"
_TWICE = "two rows of the copy have this key: give one of them another"


def read_about(path: Path) -> AboutCopy:
    """Where a copy comes from; ArchiveError if the file is none."""
    try:
        return AboutCopy.unpacked(_query(path, fill(_ABOUT, table=ABOUT_TABLE))[0][0])
    except (ValueError, IndexError, RuntimeError):
        raise ArchiveError(f"{path} is no copy for the field made by 'Take a copy to the field'.") from None


def plan_return(
    path: Path,
    place: Path | DatabasePlace,
    clashes: str = KEEP_ARCHIVE,
    say: Callable[[str], None] = lambda sentence: None,
) -> Plan:
    """Compare the copy at `path` with the archive it was taken from; nothing is written. Raises ArchiveError."""
    about = read_about(path)
    _must_belong(about, path, place, say)
    plan = Plan()
    for name in about.layers:
        declared = schema_layer(name)
        try:
            rows = _field_rows(path, declared, about, plan)
        except ArchiveError:
            say(f"The copy has no layer '{name}' any more: nothing of it is brought back.")
            continue
        kinds = kinds_of(declared)
        kept = _query(path, fill(_BASE, table=BASE_TABLE, layer=literal(name)))
        base = {key: unpack(row, kinds) for key, row in kept}
        twice = {key for layer, key, _ in plan.refused if layer == name}
        base = {key: row for key, row in base.items() if key not in twice}
        theirs = _archive_rows(place, declared, {*base, *rows})
        plan_layer(plan, name, base, rows, theirs, clashes, _refusal(place, declared))
    return plan


def write_plan(
    plan: Plan, place: Path | DatabasePlace, path: Path, photos: Path | None, say: Callable[[str], None]
) -> str:
    """Write the changes of a plan in one transaction and return the batch under which the history has them.

    Photos beside the copy go below the folder `photos`. A row that was changed since it was compared takes all back.
    Raises ArchiveError.
    """
    made: list[Path] = []
    try:
        if photos is None:
            say("Photos stay beside the copy: name a folder to have them copied.")
        else:
            made, missing = bring_photos(plan.changes, path.parent, photos)
            for sentence in missing:
                say(sentence)
        with _batch(place, f"Back from the field: {path.name}") as batch:
            for change in plan.changes:
                _write(change, batch)
        return batch.id
    except BaseException:
        for photo in made:
            photo.unlink()
        raise


def _write(change: Change, batch: DatabaseBatch | _FileBatch) -> None:
    values, theirs = dict(change.values), change.theirs or {}
    shape = values.pop(GEOMETRY, None)
    if change.action == INSERT:
        batch.insert(change.layer, {**values, schema_layer(change.layer).key.name: change.key}, shape)
    elif change.action == UPDATE:
        expected = {name: value for name, value in theirs.items() if name in change.values}
        emptied = GEOMETRY in change.values and shape is None
        batch.update(change.layer, change.key, values, NO_SHAPE if emptied else shape, expected)
    else:
        batch.delete(change.layer, change.key, theirs)


@contextmanager
def _batch(place: Path | DatabasePlace, why: str) -> Iterator[DatabaseBatch | _FileBatch]:
    """One transaction in a database or in a file; the names of the field stay in the rows."""
    if isinstance(place, DatabasePlace):
        with database_batch(place, KIND, why) as batch:
            yield batch
    else:
        with archive_batch(place, KIND, why, user_name()) as batch:
            yield _FileBatch(batch)


class _FileBatch:
    """Writes into a file like a DatabaseBatch: a row is only touched if it still has the values `expected`."""

    def __init__(self, batch: Batch):
        self._batch, self.id = batch, batch.id

    def insert(self, layer: str, values: Mapping, shape: bytes | None) -> None:
        self._batch.insert(layer, values, shape)

    def update(self, layer: str, key: str, values: Mapping, shape: bytes | None, expected: Mapping) -> None:
        self._must_be(layer, key, expected)
        self._batch.update(layer, key, values, shape)

    def delete(self, layer: str, key: str, expected: Mapping) -> None:
        self._must_be(layer, key, expected)
        self._batch.delete(layer, key)

    def _must_be(self, layer: str, key: str, expected: Mapping) -> None:
        declared = schema_layer(layer)
        columns = self._batch.row(layer, key)
        row = None if columns is None else plain_stored(columns, declared)
        if row is None or any(not same(row.get(name), value) for name, value in expected.items()):
            raise ArchiveError(changed_meanwhile(declared, key))


def _must_belong(
    about: AboutCopy, path: Path, place: Path | DatabasePlace, say: Callable[[str], None]
) -> None:
    drains = open_layer(place, "drains")
    must_be_current(drains, str(place))
    name, created_on = identity_of(place)
    units, crs = ArchiveInfo.beside(drains).units, drains.crs().authid()
    if (about.units, about.crs, about.archive_created_on) != (units, crs, created_on):
        raise ArchiveError(
            f"{path} was taken from the archive '{about.archive}' of {about.archive_created_on}, and this one is "
            f"'{name}' of {created_on}: choose the archive it was taken from."
        )
    if about.archive != name:
        say(f"The archive was called '{about.archive}' when the copy was taken and is called '{name}' now.")


def _field_rows(path: Path, declared: Layer, about: AboutCopy, plan: Plan) -> dict[str, dict]:
    """Rows of the copy by key; a row without one gets one, two rows with the same are refused."""
    rows: dict[str, dict] = {}
    twice = set()
    for feature in open_layer(path, declared.name).getFeatures():
        row = plain_feature(_flat(feature), declared)
        key = str(row[declared.key.name] or "").strip() or key_of_new_row(about, declared.name, feature.id())
        row[declared.key.name] = key
        twice |= {key} & set(rows)
        rows[key] = row
    for key in twice:
        del rows[key]
        plan.refused.append((declared.name, key, _TWICE))
    return rows


def _flat(feature: QgsFeature) -> QgsFeature:
    """With the geometry an archive takes: apps for the field add heights, and parts that are one alone."""
    shape = QgsGeometry(feature.geometry())
    if shape.isNull():
        return feature
    if shape.isMultipart() and shape.constGet().partCount() == 1:
        shape.convertToSingleType()
    if shape.constGet().is3D():
        shape.get().dropZValue()
    if shape.constGet().isMeasure():
        shape.get().dropMValue()
    feature.setGeometry(shape)
    return feature


def _archive_rows(place: Path | DatabasePlace, declared: Layer, keys: set[str]) -> dict[str, dict]:
    request = QgsFeatureRequest()
    if len(keys) <= _MOST_KEYS:
        listed = ", ".join(literal(key) for key in keys) or "NULL"
        request.setFilterExpression(f"{quoted(declared.key.name)} IN ({listed})")
    rows = (plain_feature(row, declared) for row in open_layer(place, declared.name).getFeatures(request))
    return {row[declared.key.name]: row for row in rows if row[declared.key.name] in keys}


def _refusal(place: Path | DatabasePlace, declared: Layer) -> Callable[[Mapping], str]:
    """The sentence of the first rule that a row breaks, as the archive would say it."""
    fields = open_layer(place, declared.name).fields()
    judged = [(QgsExpression(rule.holds), rule.sentence) for rule in rules(declared) if rule.holds]
    kinds = kinds_of(declared)

    def refuse(row: Mapping) -> str:
        if declared.geometry and not _is_place(row.get(GEOMETRY), declared):
            return place_sentence(declared)
        feature = QgsFeature(fields)
        for name, value in row.items():
            if name in kinds and kinds[name] not in ("date", "datetime"):
                feature[name] = NULL if value is None else value
        context = QgsExpressionContext()
        context.setFeature(feature)
        context.setFields(fields)
        return next((words for holds, words in judged if holds.evaluate(context) != 1), "")

    return refuse


def _is_place(data: object, declared: Layer) -> bool:
    if data is None:
        return not declared.place_required
    shape = QgsGeometry()
    shape.fromWkb(data)
    return not shape.isEmpty() and not shape.isMultipart()


def _query(path: Path, query: str) -> list[tuple]:
    """Rows of a table of the copy that is not listed as a layer."""
    source = gdal.OpenEx(str(path), gdal.OF_VECTOR | gdal.OF_READONLY)
    if source is None:
        raise ArchiveError(f"{path} cannot be read: is it a copy for the field?")
    found = source.ExecuteSQL(query)
    if found is None:
        raise ArchiveError(f"{path} is no copy for the field.")
    width = found.GetLayerDefn().GetFieldCount()
    rows = [tuple(row.GetField(index) for index in range(width)) for row in found]
    source.ReleaseResultSet(found)
    return rows
