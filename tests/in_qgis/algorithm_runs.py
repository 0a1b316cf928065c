"""Running the algorithms as people do, and what is heard of them."""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing, contextmanager
from pathlib import Path

from fallkeeper.processing_algs.provider import FallkeeperProvider
from qgis.core import QgsApplication, QgsProcessingContext, QgsProcessingException, QgsProcessingFeedback, QgsProject
from qgis_layers import rows_of

SINKS = {
    "comparelayout": ("DECISIONS", "PLACES", "OUTLET_CHANGES", "OUTLETS"),
    "acceptlayout": (),
    "archiveat": (),
    "recordrepair": (),
    "bringarchiveup": (),
    "verifyarchive": ("OUTPUT",),
    "undobatch": ("BATCHES", "ROWS"),
    "checkdrains": ("LINE_FINDINGS", "POINT_FINDINGS", "NOT_CHECKED"),
    "buildnetwork": ("PIPES", "NODES", "LINE_FINDINGS", "POINT_FINDINGS"),
    "traceupstream": ("PIPES", "LAND_ABOVE"),
    "tracedownstream": ("PIPES",),
    "importlayout": ("DOUBTS",),
    "rankpipes": ("PIPES",),
    "ownerpage": (),
    "findmissing": ("PROBABLE", "LINE_FINDINGS", "DOUBTS"),
    "ownertable": ("TABLE", "SHARES", "CROSSINGS"),
}


class Heard(QgsProcessingFeedback):
    """Keeps what is said."""

    def __init__(self):
        super().__init__(False)
        self.infos = []
        self.warnings = []
        self.errors = []

    def pushInfo(self, info):
        self.infos.append(info)

    def pushWarning(self, warning):
        self.warnings.append(warning)

    def reportError(self, error, fatalError=False):  # noqa: N803 (the name of QGIS)
        self.errors.append(error)

    def sentence_with(self, *words):
        """The one warning that has all the words."""
        found = [w for w in self.warnings if all(str(word) in w for word in words)]
        assert len(found) == 1, f"{words} in {self.warnings}"
        return found[0]


class Ran:
    """Results of a run, its sinks as rows, and what was heard."""

    def __init__(self, results, heard):
        self.results = results
        self.heard = heard

    def __getitem__(self, key):
        return self.results[key]

    def rows(self, sink):
        return rows_of(self.results[sink])

    def drains(self, sink, **wanted):
        """Ids of the rows of a sink whose columns are as wanted."""
        return sorted(str(r["drain_id"]) for r in self.rows(sink) if all(r[c] == v for c, v in wanted.items()))

    def findings(self, check):
        """Ids of the drains with findings of a check, of both kinds of places."""
        return sorted([*self.drains("LINE_FINDINGS", check=check), *self.drains("POINT_FINDINGS", check=check)])


@contextmanager
def provided():
    """The provider registered; a Python reference is kept, as QGIS needs."""
    provider = FallkeeperProvider()
    registry = QgsApplication.processingRegistry()
    assert registry.addProvider(provider)
    yield provider
    registry.removeProvider(provider)


def run(algorithm, heard=None, **parameters):
    """Run an algorithm with all its sinks in memory; a refusal is a QgsProcessingException with its sentence."""
    import processing

    heard = heard or Heard()
    context = QgsProcessingContext()
    context.setProject(QgsProject.instance())
    sinks = dict.fromkeys(SINKS[algorithm], "memory:")
    results = processing.run(f"fallkeeper:{algorithm}", {**sinks, **parameters}, feedback=heard, context=context)
    assert not heard.errors, heard.errors
    return Ran(results, heard)


def refusal(algorithm, heard=None, **parameters):
    """The sentence with which an algorithm refuses."""
    try:
        run(algorithm, heard, **parameters)
    except QgsProcessingException as error:
        return str(error)
    raise AssertionError("it was not refused")


def refused(algorithm, **parameters):
    """The sentence of a refusal, wherever Processing says it."""
    heard = Heard()
    return " ".join([refusal(algorithm, heard, **parameters), *heard.errors])


def content_hash(path: Path) -> str:
    """Of every row of every table of a GeoPackage, whatever the pages of the file look like."""
    with closing(sqlite3.connect(f"file:{path.as_posix()}?immutable=1", uri=True)) as db:
        tables = sorted(name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'"))
        digest = hashlib.sha256()
        for table in tables:
            digest.update(table.encode())
            for row in db.execute(f'SELECT * FROM "{table}"'):
                digest.update(repr(row).encode())
    return digest.hexdigest()
