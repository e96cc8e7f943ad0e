"""The anatomical zero of a skeleton's joints, calibrated over all its clips."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Zero:
    """To be filled by the calibration."""
