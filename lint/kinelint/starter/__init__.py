"""A policy to start from, written after a look at the tree."""

from __future__ import annotations

from kinelint.starter.compose import compose
from kinelint.starter.look import Look, look

__all__ = ["Look", "compose", "look"]
