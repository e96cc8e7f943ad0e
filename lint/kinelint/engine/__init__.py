"""Runs a policy over an asset tree: the only place where rules and motions meet."""

from __future__ import annotations

from kinelint.engine.run import run

__all__ = ["run"]
