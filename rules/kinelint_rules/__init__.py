"""The built-in rules. A new rule is one file and one line in `RULES`."""

from __future__ import annotations

from typing import Any

from kinelint.rule import Rule

RULES: tuple[type[Rule[Any]], ...] = ()
