"""What a rule says of itself, in plain values."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from kinelint.finding import Level


@dataclass(frozen=True, slots=True)
class SettingInfo:
    """One setting of a rule, for documentation: its default, its reason and its source."""

    name: str
    type: str
    default: Any
    unit: str
    why: str
    source: str = ""


@dataclass(frozen=True, slots=True)
class RuleInfo:
    """What a rule says of itself; everything an output may print about a rule.

    `pack` is the distribution that brought the rule, "kinelint" for the built-in ones.
    `text` is the rule's docstring after its first line; `title` is that first line.
    `version` rises when the rule's verdicts change.
    """

    id: str
    title: str
    text: str
    quantity: str
    on_screen: str
    remedy: str
    source: str
    level: Level
    settings: tuple[SettingInfo, ...] = ()
    version: int = 1
    pack: str = "kinelint"
    pack_version: str = ""
