"""The lint for character animation. This module is the public door for authors of rules.

    from kinelint import Example, Finding, Motion, Rule, RuleSettings, setting, spans

and of readers, which bring file formats:

    from kinelint import Asset, AssetError, Clip, NativeReader, Note, ReadOptions, Skeleton

Names are fetched when they are first asked for, so that ``import kinelint`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kinelint.clip import Asset, Clip, Skeleton, Skin, Source
    from kinelint.errors import AssetError, KinelintError, NotApplicable
    from kinelint.finding import Finding, FrameSpan, Level, Note, Trace, Unjudged
    from kinelint.frame_spans import spans
    from kinelint.group import Group, GroupExample, GroupRule, Member, Said
    from kinelint.motion import Motion
    from kinelint.pair_rule import WHOLE_FILE, ExportPair, PairExample, PairRule
    from kinelint.readers.native import NativeReader
    from kinelint.readers.options import ReadOptions
    from kinelint.readers.registry import Reader
    from kinelint.rule import Example, Rule, RuleSettings, setting
    from kinelint.testing import check_rule

__version__ = "0.1.0"

__all__ = [
    "WHOLE_FILE",
    "Asset",
    "AssetError",
    "Clip",
    "Example",
    "ExportPair",
    "Finding",
    "FrameSpan",
    "Group",
    "GroupExample",
    "GroupRule",
    "KinelintError",
    "Level",
    "Member",
    "Motion",
    "NativeReader",
    "NotApplicable",
    "Note",
    "PairExample",
    "PairRule",
    "ReadOptions",
    "Reader",
    "Rule",
    "RuleSettings",
    "Said",
    "Skeleton",
    "Skin",
    "Source",
    "Trace",
    "Unjudged",
    "check_rule",
    "setting",
    "spans",
]

_HOMES = {
    "clip": ("Asset", "Clip", "Skeleton", "Skin", "Source"),
    "errors": ("AssetError", "KinelintError", "NotApplicable"),
    "finding": ("Finding", "FrameSpan", "Level", "Note", "Trace", "Unjudged"),
    "motion": ("Motion",),
    "pair_rule": ("WHOLE_FILE", "ExportPair", "PairExample", "PairRule"),
    "readers.native": ("NativeReader",),
    "readers.options": ("ReadOptions",),
    "readers.registry": ("Reader",),
    "rule": ("Example", "Rule", "RuleSettings", "setting"),
    "group": ("Group", "GroupExample", "GroupRule", "Member", "Said"),
    "frame_spans": ("spans",),
    "testing": ("check_rule",),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"kinelint.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
