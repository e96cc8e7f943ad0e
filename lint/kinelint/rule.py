"""The contract of a rule: what an author writes, and all that the engine asks for."""

from __future__ import annotations

import inspect
import re
from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar, Generic, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, Field

from kinelint.finding import Finding, Level, Unjudged
from kinelint.motion import Motion
from kinelint.rule_info import RuleInfo, SettingInfo

_ID = re.compile(r"([a-z][a-z0-9]*\.)?[a-z][a-z0-9]*(-[a-z0-9]+)*")
# Longest first: "_deg_per_s" must not be read as "_s".
_UNITS = (
    ("_deg_per_s", "deg/s"),
    ("_mm_per_s", "mm/s"),
    ("_m_per_s2", "m/s2"),
    ("_m_per_s", "m/s"),
    ("_percent", "percent"),
    ("_ratio", "ratio"),
    ("_deg", "deg"),
    ("_mm", "mm"),
    ("_hz", "Hz"),
    ("_ms", "ms"),
    ("_m", "m"),
    ("_s", "s"),
)


class RuleSettings(BaseModel):
    """Base of a rule's settings: frozen, typed, no unknown keys."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def setting(default: Any, *, why: str, source: str = "", **bounds: Any) -> Any:
    """One setting: its default, why that, who says so, and its bounds (`gt=0`, `le=1`, …).

    `source` names something that can be looked up, or "common practice, no source".
    """
    return Field(default, description=why, json_schema_extra={"source": source}, **bounds)


S = TypeVar("S", bound=RuleSettings)


@dataclass(frozen=True)
class Example:
    """A worked motion: what a rule must say of it.

    Attributes:
        name: what the motion shows, for people.
        motion: the motion.
        finds: how many findings the rule must make.
        settings: other than the defaults.
        parts: parts of the first finding, if it must name these.
        frames: (first, last) of the first finding, to within `slack_frames`.
        measured: the first finding's value, to within `within`.
        level: of the first finding, the rule's own grade.
        not_applicable: the rule must say that it cannot judge this.
    """

    name: str
    motion: Motion
    finds: int = 0
    settings: dict[str, Any] = field(default_factory=dict)
    parts: tuple[str, ...] = ()
    frames: tuple[int, int] | None = None
    slack_frames: int = 2
    measured: float | None = None
    within: float = 1.0
    level: Level | None = None
    not_applicable: bool = False


class RuleBase(ABC, Generic[S]):
    """What every rule says of itself, whatever it looks at.

    A subclass names its settings in brackets and carries, as class attributes:

    * ``id``: a plain slug of trade words, behind a prefix of its own in a plug-in;
    * ``source``: where the rule's limits come from;
    * ``level``: how bad its findings are where it does not grade them itself;
    * ``version``: a whole number that rises when the rule's verdicts change; policies may pin it;
    * ``former``: version to the class that judges as that version did, same id;
    * ``limits``: groups of settings that are limits of one quantity, each in rising order of
      level, as ``(("note_mm", "warning_mm", "error_mm"),)``: what a team may calibrate. A limit
      that is added to a range has "margin" in its name; one that multiplies others, for some
      parts, is no limit and ends in "_times";
    * ``quantity``, ``on_screen``, ``remedy``: what is measured, how the defect looks, what to do.

    Its docstring is its page: first line the title, then prose.
    """

    id: ClassVar[str]
    source: ClassVar[str]
    version: ClassVar[int] = 1
    former: ClassVar[Mapping[int, type[RuleBase[Any]]]] = {}
    level: ClassVar[Level] = Level.ERROR
    limits: ClassVar[tuple[tuple[str, ...], ...]] = ()
    quantity: ClassVar[str] = ""
    on_screen: ClassVar[str] = ""
    remedy: ClassVar[str] = ""
    settings_type: ClassVar[type[RuleSettings]] = RuleSettings

    def __init_subclass__(cls, **kwargs: Any) -> None:
        super().__init_subclass__(**kwargs)
        for base in getattr(cls, "__orig_bases__", ()):
            for argument in get_args(base):
                if isinstance(argument, type) and issubclass(argument, RuleSettings):
                    cls.settings_type = argument

    @staticmethod
    @abstractmethod
    def examples() -> Iterable[Any]:
        """Worked cases that show the rule: at least one clean, at least one with the defect."""


class Rule(RuleBase[S]):
    """A rule that measures one quantity of a motion and says where it passes its limit."""

    @staticmethod
    @abstractmethod
    def check(motion: Motion, settings: Any, /) -> Iterator[Finding | Unjudged]:
        """Yields findings, and what could not be judged; pure.

        Raises:
            NotApplicable: nothing of this motion can be judged.
        """

    @staticmethod
    @abstractmethod
    def examples() -> Iterable[Example]:
        """Worked motions that show the rule: at least one clean, at least one with the defect."""


def faults(rule: type[RuleBase[Any]]) -> list[str]:
    """What is wrong with a rule class; empty if it keeps the contract."""
    wrong = []
    if not (inspect.isclass(rule) and issubclass(rule, RuleBase)):
        return [f"{rule!r} is not a subclass of Rule or GroupRule"]
    if not _ID.fullmatch(getattr(rule, "id", "")):
        wrong.append("id must be a slug such as 'foot-slide' or 'studio.hip-turn'")
    if not getattr(rule, "source", ""):
        wrong.append("source is missing")
    if not inspect.getdoc(rule) or "__doc__" not in vars(rule) or not rule.__doc__:
        wrong.append("the docstring is missing")
    for name in ("check", "examples"):
        if not isinstance(inspect.getattr_static(rule, name), staticmethod):
            wrong.append(f"{name} must be a static method")
    if inspect.isabstract(rule):
        wrong.append("check and examples must both be written")
    for number, older in rule.former.items():
        if number != older.version or number >= rule.version or older.id != rule.id:
            wrong.append(f"former[{number}] must be version {number} of {rule.id}, an older one")
    wrong += _limit_faults(rule)
    wrong += [
        f"setting {name} has no reason (why=…)"
        for name, one in rule.settings_type.model_fields.items()
        if not one.description
    ]
    return wrong


def _limit_faults(rule: type[RuleBase[Any]]) -> Iterator[str]:
    """Limits that are no settings, no numbers, named twice, of several units, or out of order."""
    fields, said = rule.settings_type.model_fields, [name for one in rule.limits for name in one]
    for name in dict.fromkeys(said):
        if name not in fields:
            yield f"limits name {name!r}, and there is no such setting"
        elif type(fields[name].default) not in (int, float):
            yield f"limits name {name!r}, whose default is no number"
        if said.count(name) > 1:
            yield f"limits name {name!r} more than once"
    for group in rule.limits:
        if not group or len({unit_of(name) for name in group}) > 1:
            yield f"limits {group} are none, or of several units"
        values = [fields[name].default for name in group if name in fields]
        if all(type(one) in (int, float) for one in values) and values != sorted(values):
            yield f"limits {', '.join(group)} do not rise"


def unit_of(setting_name: str) -> str:
    """The unit that stands in a setting's name; "" if none does."""
    return next((unit for end, unit in _UNITS if setting_name.endswith(end)), "")


def describe(rule: type[RuleBase[Any]], pack: str = "kinelint", pack_version: str = "") -> RuleInfo:
    """All that a rule says of itself, in plain values."""
    title, _, text = inspect.getdoc(rule).partition("\n")  # type: ignore[union-attr]
    return RuleInfo(
        id=rule.id,
        title=title.strip(),
        text=text.strip(),
        quantity=rule.quantity,
        on_screen=rule.on_screen,
        remedy=rule.remedy,
        source=rule.source,
        level=rule.level,
        settings=tuple(_setting_infos(rule.settings_type)),
        version=rule.version,
        pack=pack,
        pack_version=pack_version,
    )


def _setting_infos(settings: type[RuleSettings]) -> Iterator[SettingInfo]:
    plain = settings().model_dump(mode="json")
    for name, one in settings.model_fields.items():
        extra = one.json_schema_extra if isinstance(one.json_schema_extra, dict) else {}
        kind = getattr(one.annotation, "__name__", str(one.annotation))
        yield SettingInfo(
            name=name,
            type=kind,
            default=plain[name],
            unit=unit_of(name),
            why=one.description or "",
            source=str(extra.get("source", "")),
        )
