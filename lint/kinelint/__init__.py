"""The lint for character animation. This module is the public door for authors of rules.

    from kinelint import Example, Finding, Motion, Rule, RuleSettings, setting, spans

Names are fetched when they are first asked for, so that ``import kinelint`` costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kinelint.errors import KinelintError, NotApplicable
    from kinelint.finding import Finding, FrameSpan, Level, Note, Trace, Unjudged
    from kinelint.frame_spans import spans
    from kinelint.group import Group, GroupExample, GroupRule, Member, Said
    from kinelint.motion import Motion
    from kinelint.rule import Example, Rule, RuleSettings, setting
    from kinelint.testing import check_rule

__version__ = "0.1.0"

__all__ = [
    "Example",
    "Finding",
    "FrameSpan",
    "Group",
    "GroupExample",
    "GroupRule",
    "KinelintError",
    "Level",
    "Member",
    "Motion",
    "NotApplicable",
    "Note",
    "Rule",
    "RuleSettings",
    "Said",
    "Trace",
    "Unjudged",
    "check_rule",
    "setting",
    "spans",
]

_HOMES = {
    "errors": ("KinelintError", "NotApplicable"),
    "finding": ("Finding", "FrameSpan", "Level", "Note", "Trace", "Unjudged"),
    "motion": ("Motion",),
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
