"""Tells files on a network drive, where a GeoPackage is no safe place for an archive.

SQLite relies on locks that network file systems keep badly: two who edit at once can damage the file.
"""

from __future__ import annotations

import re
from pathlib import Path

from qgis.PyQt.QtCore import QStorageInfo

# names of file systems as Linux and macOS call them; fuse. goes before the name of a program that provides one
_NETWORK = re.compile(
    r"^(nfs\d*|cifs|smb\w*|ncpfs|afpfs|afs|ceph|glusterfs|lustre|9p|webdav|davfs\d*|fuse\.(sshfs|davfs\d*|rclone|"
    r"gvfsd-fuse|smbnetfs|curlftpfs|s3fs|glusterfs|ceph))$",
    re.IGNORECASE,
)
# //server/share or \\server\share; Windows also writes \\?\UNC\server\share, but \\?\Volume{...} is a disk
_SHARE = re.compile(r"^[\\/]{2}([^\\/?.]|[?.][\\/]UNC[\\/])", re.IGNORECASE)

ADVICE = "a network drive is no safe place for a GeoPackage that more than one person opens"


def is_on_network(path: Path) -> bool:
    """Whether a file, there or not yet, lies on a network drive as far as the system tells."""
    if _SHARE.match(str(path)):
        return True
    there = next((folder for folder in (path, *path.parents) if folder.exists()), path)
    storage = QStorageInfo(str(there))
    return means_network(bytes(storage.fileSystemType()).decode("utf-8", "replace"),
                         bytes(storage.device()).decode("utf-8", "replace"))


def means_network(file_system: str, device: str) -> bool:
    """What the system says of a drive: its file system and its device, of a mapped drive of Windows the share."""
    return bool(_NETWORK.match(file_system) or _SHARE.match(device))


def network_warning(path: Path) -> str:
    """A sentence for an archive on a network drive; '' for one that lies on a disk of this computer."""
    if not is_on_network(path):
        return ""
    return (
        f"{path} lies on a network drive: {ADVICE}, it can be damaged and changes lost. Keep it on a disk of this "
        "computer, or make the archive in a database (createarchive with a connection)."
    )
