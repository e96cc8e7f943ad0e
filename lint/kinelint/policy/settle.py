"""From a policy to what it demands of one clip. Later scopes win over earlier ones."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from kinelint.errors import PolicyError
from kinelint.finding import Level, Note
from kinelint.globs import any_asset, any_clip
from kinelint.policy.model import PolicyTable, ScopeTable, SkeletonTable
from kinelint.registry import Registered
from kinelint.report import RuleSetup
from kinelint.rule import RuleBase, RuleSettings
from kinelint.toml_check import checked
from kinelint.toml_places import TomlFile


@dataclass(frozen=True)
class SettledRule:
    """One rule with all that a policy makes of it for one clip."""

    rule: type[RuleBase[Any]]
    settings: RuleSettings
    level: Level | None = None
    enabled: bool = True
    required: bool = False

    def source_of(self, name: str) -> str:
        """Who says what a setting is: the rule's source, or the policy; "" if there is none."""
        fields = type(self.settings).model_fields
        if name not in fields:
            return ""
        value, default = getattr(self.settings, name), fields[name].default
        if value != default:
            return f"the policy: {name} = {value}"
        extra = fields[name].json_schema_extra
        return str(extra.get("source", "")) if isinstance(extra, dict) else ""


@dataclass(frozen=True)
class Demands:
    """What a policy demands of one clip: rules in the order of their ids."""

    rules: tuple[SettledRule, ...]
    ground_m: float | None = None
    scopes: tuple[int, ...] = ()


@dataclass(frozen=True)
class Policy:
    """A policy, checked, with the rules that are installed.

    Attributes:
        table: what the file says; the defaults without a file.
        rules: installed rules by id.
        file: the file, None without one.
        folder: of the file; relative paths in it start there.
        notes: what people should know of it: rules that it holds back.
    """

    table: PolicyTable
    rules: Mapping[str, Registered]
    file: TomlFile | None = None
    folder: Path = field(default_factory=Path.cwd)
    notes: tuple[Note, ...] = ()
    _settled: dict[tuple[int, ...], Demands] = field(
        default_factory=dict, repr=False, compare=False
    )

    @property
    def fail_on(self) -> Level:
        """The gate fails on findings of this level and above."""
        return Level(self.table.fail_on)

    @property
    def root(self) -> Path | None:
        """The folder of the asset tree, None without a file."""
        return None if self.file is None else (self.folder / self.table.root).resolve()

    def demands(self, asset: str, clip: str, class_name: str, stage: str = "") -> Demands:
        """What is demanded of a clip.

        Args:
            asset: path from the root of the run, with "/".
            clip: its name in the asset.
            class_name: as the cue sheet says, "" if it does not.
            stage: the same: "raw", "edited", "final" or "".

        Raises:
            PolicyError: two scopes that both hold make settings that contradict each other.
        """
        key = tuple(
            number
            for number, scope in enumerate(self.table.scope)
            if _holds(scope, asset, clip, class_name, stage)
        )
        if key not in self._settled:
            self._settled[key] = self._settle(key)
        return self._settled[key]

    def skeleton_entries(self, asset: str, signature: str) -> tuple[int, ...]:
        """Which `[[skeleton]]` entries speak of a skeleton in an asset."""
        return tuple(
            number
            for number, one in enumerate(self.table.skeleton)
            if (not one.assets or any_asset(one.assets, asset))
            and signature.startswith(one.signature)
        )

    def skeleton(self, entries: tuple[int, ...]) -> SkeletonTable:
        """These entries as one: later keys win, parts and radii are gathered."""
        said: dict[str, Any] = {"parts": {}, "radii_mm": {}}
        for number in entries:
            one = self.table.skeleton[number]
            for name in one.model_fields_set:
                value = getattr(one, name)
                said[name] = {**said[name], **value} if isinstance(value, dict) else value
        return SkeletonTable(**said)

    @cached_property
    def setups(self) -> tuple[RuleSetup, ...]:
        """What the policy makes of each rule: for the whole tree, then by scope."""
        return tuple(self._all_setups())

    def _settle(self, scopes: tuple[int, ...]) -> Demands:
        chosen = [self.table.scope[number] for number in scopes]
        required = {name for scope in chosen for name in scope.required}
        grounds = [self.table.ground_m, *(scope.ground_m for scope in chosen)]
        rules = []
        for name, registered in self.rules.items():
            layers = [self.table.rules, *(scope.rules for scope in chosen)]
            said = _merged(name, layers)
            rules.append(self._settled_rule(name, registered, said, name in required, scopes))
        return Demands(tuple(rules), _last(grounds), scopes)

    def _settled_rule(
        self,
        name: str,
        registered: Registered,
        said: dict[str, Any],
        required: bool,
        scopes: tuple[int, ...],
    ) -> SettledRule:
        word = said.pop("level", None)
        try:
            settings = checked(registered.rule.settings_type, said)
        except ValidationError as error:
            assert self.file is not None
            line = self.file.line(("scope", scopes[-1])) if scopes else 1
            raise PolicyError(
                f"the scopes that hold together leave {name} with: {error.errors()[0]['msg']}",
                path=self.file.path,
                place=f"line {line}",
                mend="Give the last scope settings that agree with each other.",
            ) from error
        level = None if word in (None, "off") else Level(word)
        return SettledRule(registered.rule, settings, level, word != "off", required)

    def _all_setups(self) -> Iterator[RuleSetup]:
        for name in self.rules:
            yield self._setup(name, [self.table.rules], "", ("rules", name))
            for number, scope in enumerate(self.table.scope):
                if name in scope.rules or name in scope.required:
                    layers = [self.table.rules, scope.rules]
                    path = ("scope", number, "rules", name)
                    yield self._setup(name, layers, scope.title, path)

    def _setup(
        self,
        name: str,
        layers: list[dict[str, dict[str, Any]]],
        scope: str,
        path: tuple[str | int, ...],
    ) -> RuleSetup:
        said = _merged(name, layers)
        settled = self._settled_rule(name, self.rules[name], dict(said), False, ())
        plain = settled.settings.model_dump(mode="json")
        default = type(settled.settings)().model_dump(mode="json")
        mentioned = self.file is not None and (scope or name in self.table.rules)
        return RuleSetup(
            rule_id=name,
            enabled=settled.enabled,
            level=settled.level,
            overridden={key: value for key, value in plain.items() if value != default[key]},
            scope=scope,
            line=self.file.line(path) if self.file and mentioned else None,
        )


def _holds(scope: ScopeTable, asset: str, clip: str, class_name: str, stage: str) -> bool:
    fits = not scope.clips or any_clip(scope.clips, asset, clip)
    fits = fits and (not scope.stage or stage in scope.stage)
    return fits and (not scope.class_ or class_name in scope.class_)


def _merged(name: str, layers: list[dict[str, dict[str, Any]]]) -> dict[str, Any]:
    said: dict[str, Any] = {}
    for layer in layers:
        said |= layer.get(name, {})
    return said


def _last(values: list[float | None]) -> float | None:
    said = [one for one in values if one is not None]
    return said[-1] if said else None
