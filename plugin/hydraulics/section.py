"""The cross-section of a round pipe."""

from __future__ import annotations

import numpy as np


def filled_share(depth_m: np.ndarray, diameter_m: np.ndarray) -> np.ndarray:
    """Share of the section that lies below water `depth_m` above the invert: circular segment over circle."""
    ratio = np.clip(np.asarray(depth_m, dtype=float) / diameter_m, 0.0, 1.0)
    half_angle = np.arccos(1.0 - 2.0 * ratio)
    return (half_angle - np.sin(2.0 * half_angle) / 2.0) / np.pi
