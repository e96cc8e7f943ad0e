"""Rule classes, found by entry point. Built-in rules come in by the same door as any pack's."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from importlib.metadata import EntryPoint, entry_points
from typing import Any

from kinelint.errors import RegistryError
from kinelint.rule import RuleBase, describe, faults
from kinelint.rule_info import RuleInfo

GROUP = "kinelint.rules"


@dataclass(frozen=True)
class Registered:
    """A rule and the pack that brought it."""

    rule: type[RuleBase[Any]]
    pack: str
    pack_version: str

    @property
    def info(self) -> RuleInfo:
        """What the rule says of itself."""
        return describe(self.rule, self.pack, self.pack_version)

    @property
    def versions(self) -> tuple[int, ...]:
        """Every version that can judge, the newest last."""
        return (*sorted(self.rule.former), self.rule.version)

    def at(self, version: int) -> Registered:
        """The rule as it judged at a version.

        Raises:
            KeyError: it has no such version any more, or not yet.
        """
        if version == self.rule.version:
            return self
        return Registered(self.rule.former[version], self.pack, self.pack_version)


def load(entries: Iterable[EntryPoint] | None = None) -> dict[str, Registered]:
    """All installed rules by id, sorted.

    Args:
        entries: entry points to load from; by default those of the group "kinelint.rules".

    Raises:
        RegistryError: a pack cannot be imported, a rule breaks the contract, or an id is taken.
    """
    found: dict[str, Registered] = {}
    for entry in entry_points(group=GROUP) if entries is None else entries:
        for one in _rules_of(entry):
            other = found.get(one.rule.id)
            if other is not None and other.rule is not one.rule:
                raise RegistryError(
                    f"two rules are called {one.rule.id!r}: from {other.pack} and from {one.pack}",
                    mend="Remove one of the packs, or give the rule a prefix of its own.",
                )
            found[one.rule.id] = one
    return dict(sorted(found.items()))


def _rules_of(entry: EntryPoint) -> Iterator[Registered]:
    pack = entry.dist.name if entry.dist else entry.value
    version = entry.dist.version if entry.dist else ""
    try:
        rules = tuple(entry.load())
    except Exception as error:
        raise RegistryError(
            f"rule pack {pack} cannot be loaded from {entry.value!r}: {error}",
            mend="Mend or uninstall the pack.",
        ) from error
    for rule in rules:
        wrong = faults(rule)
        if wrong:
            name = getattr(rule, "__qualname__", repr(rule))
            raise RegistryError(
                f"rule {name} of pack {pack}: {'; '.join(wrong)}", mend="Mend or uninstall it."
            )
        yield Registered(rule, pack, version)
