"""How long work on an archive tells how far it is, and is stopped."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


class CanceledError(Exception):
    """The user stopped the work; nothing of it is left."""


@dataclass(frozen=True)
class Progress:
    """`told` hears how far the work is (0 to 1), `is_canceled` says whether to stop."""

    told: Callable[[float], None] = lambda share: None
    is_canceled: Callable[[], bool] = lambda: False

    def at(self, share: float) -> None:
        """Raises CanceledError if the work is to stop."""
        if self.is_canceled():
            raise CanceledError
        self.told(share)
