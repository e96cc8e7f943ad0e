"""Rules that look at clips together: what follows what, who plays with whom, what mirrors what.

The second, equally small contract beside `kinelint.rule.Rule`.
"""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, ClassVar, NamedTuple, TypeVar

from kinelint.cue import Bond, Chain
from kinelint.finding import Finding, Level, Unjudged
from kinelint.motion import Motion
from kinelint.rule import RuleBase, RuleSettings

S = TypeVar("S", bound=RuleSettings)


@dataclass(frozen=True, eq=False)
class Member:
    """One clip of a group: its asset's path, its name, and its motion."""

    asset: str
    clip: str
    motion: Motion

    @property
    def label(self) -> str:
        """The clip for people."""
        return self.clip or self.asset


@dataclass(frozen=True, eq=False)
class Group:
    """Clips that belong together, and why.

    Attributes:
        bond: what the cue sheet says of them (`kinelint.cue`: Chain, Partners, Mirrored).
        members: in the order that the bond speaks of them.
    """

    bond: Bond
    members: tuple[Member, ...]


class Said(NamedTuple):
    """What a rule says, and of which member of the group."""

    member: int
    what: Finding | Unjudged


@dataclass(frozen=True)
class GroupExample:
    """A worked group: what a rule must say of it. See `kinelint.rule.Example`.

    `member` is the index of the clip that the first finding must be on.
    """

    name: str
    group: Group
    finds: int = 0
    settings: dict[str, Any] = field(default_factory=dict)
    member: int | None = None
    parts: tuple[str, ...] = ()
    frames: tuple[int, int] | None = None
    slack_frames: int = 2
    measured: float | None = None
    within: float = 1.0
    level: Level | None = None
    not_applicable: bool = False


class GroupRule(RuleBase[S]):
    """A rule on clips that are bound together; carries the same attributes as `Rule`.

    `bond` is the class of bond it looks at; others never reach it.
    """

    bond: ClassVar[type[Any]] = Chain

    @staticmethod
    @abstractmethod
    def check(group: Group, settings: Any, /) -> Iterator[Said]:
        """Yields findings, each with the member it is on; pure.

        Raises:
            NotApplicable: nothing of this group can be judged.
        """

    @staticmethod
    @abstractmethod
    def examples() -> Iterable[GroupExample]:
        """Worked groups that show the rule: at least one clean, at least one with the defect."""
