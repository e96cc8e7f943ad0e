"""The volume of a body: capsules on joints."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Body:
    """To be filled by the body model."""
