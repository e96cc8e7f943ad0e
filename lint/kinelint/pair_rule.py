"""The contract of a rule that looks at a working file and its export, as files."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from kinelint.cue import Exported
from kinelint.finding import Finding, FrameSpan, Level
from kinelint.rule import RuleBase, S

WHOLE_FILE = FrameSpan(0, 0)
"""The span of a finding on a file, which has no frames."""


@dataclass(frozen=True, slots=True)
class ExportPair:
    """A working file and its export, by content.

    Attributes:
        bond: the two paths, from the policy's root, with "/".
        source_sha256: of the working file's bytes now.
        export_sha256: of the export's; "" if there is none.
        recorded: both as they were when they were last recorded to belong together; None if that
            was never done.
    """

    bond: Exported
    source_sha256: str
    export_sha256: str = ""
    recorded: tuple[str, str] | None = None

    @property
    def is_stale(self) -> bool:
        """Whether the working file went on and the export did not."""
        if self.recorded is None:
            return False
        source, export = self.recorded
        return source != self.source_sha256 and export == self.export_sha256


@dataclass(frozen=True)
class PairExample:
    """A worked pair: what a rule must say of it.

    Attributes:
        name: what the pair shows, for people.
        pair: the pair.
        finds: how many findings the rule must make.
        settings: other than the defaults.
        detail: of the first finding.
        level: of the first finding, the rule's own grade.
    """

    name: str
    pair: ExportPair
    finds: int = 0
    settings: dict[str, Any] = field(default_factory=dict)
    detail: str = ""
    level: Level | None = None


class PairRule(RuleBase[S]):
    """A rule on a working file and its export; carries the same attributes as `Rule`.

    Its findings are on the working file as a whole: their span is `WHOLE_FILE`, their part
    ("clip",).
    """

    @staticmethod
    @abstractmethod
    def check(pair: ExportPair, settings: Any, /) -> Iterator[Finding]:
        """Yields findings; pure."""

    @staticmethod
    @abstractmethod
    def examples() -> Iterable[PairExample]:
        """Worked pairs that show the rule: at least one clean, at least one with the defect."""
