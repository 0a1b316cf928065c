"""The one error of archives."""

from __future__ import annotations


class ArchiveError(ValueError):
    """What was asked of an archive cannot be done; the message says why and what to do."""


class NoArchiveError(ArchiveError):
    """The file can be opened, but nobody made it as an archive."""
