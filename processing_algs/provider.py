"""The Processing provider: what the Toolbox, models, scripts and `qgis_process` find under `fallkeeper`."""

from __future__ import annotations

from pathlib import Path

from qgis.core import QgsProcessingProvider
from qgis.PyQt.QtGui import QIcon

from .accept_layout import AcceptLayout
from .archive_at import ArchiveAt
from .archive_to_database import ArchiveToDatabase
from .archive_to_file import ArchiveToFile
from .bring_archive_up import BringArchiveUp
from .build_network import BuildNetwork
from .check_drains import CheckDrains
from .check_reroute import CheckReroute
from .compare_layout import CompareLayout
from .create_archive import CreateArchive
from .field_copy import FieldCopy
from .field_return import FieldReturn
from .find_missing import FindMissing
from .import_layout import ImportLayout
from .owner_page import OwnerPage
from .owner_table import OwnerTable
from .rank_pipes import RankPipes
from .record_repair import RecordRepair
from .trace_downstream import TraceDownstream
from .trace_upstream import TraceUpstream
from .undo_batch import UndoBatch
from .verify_archive import VerifyArchive

ICON = Path(__file__).resolve().parents[1] / "plugin" / "icons" / "fallkeeper.svg"

# their order is that of the Toolbox's groups; their names are stable, they stand in users' models
ALGORITHMS = (
    CreateArchive,
    ArchiveToDatabase,
    ArchiveToFile,
    ArchiveAt,
    VerifyArchive,
    BringArchiveUp,
    UndoBatch,
    RecordRepair,
    FieldCopy,
    FieldReturn,
    ImportLayout,
    CompareLayout,
    AcceptLayout,
    BuildNetwork,
    CheckDrains,
    CheckReroute,
    TraceUpstream,
    TraceDownstream,
    FindMissing,
    RankPipes,
    OwnerTable,
    OwnerPage,
)


class FallkeeperProvider(QgsProcessingProvider):
    """Lists the algorithms."""

    def id(self):
        return "fallkeeper"

    def name(self):
        return "Fallkeeper"

    def icon(self):
        return QIcon(str(ICON))

    def svgIconPath(self):
        return str(ICON)

    def loadAlgorithms(self):
        for algorithm in ALGORITHMS:
            self.addAlgorithm(algorithm())
