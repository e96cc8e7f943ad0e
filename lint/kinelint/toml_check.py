"""Holds a TOML file to a pydantic model, and says every fault in the words of its author.

Values are checked strictly: text is no number, however well it would convert.
"""

from __future__ import annotations

import difflib
import types
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeVar, Union, get_args, get_origin

from pydantic import BaseModel, ConfigDict, ValidationError
from pydantic_core import ErrorDetails, to_json

from kinelint.errors import KinelintError, PolicyError, PolicyErrors
from kinelint.toml_places import Path, TomlFile

M = TypeVar("M", bound=BaseModel)

MOST_PROBLEMS = 50
_LONGEST_WORD = 60

_KINDS = {
    "float": "a number",
    "int": "a whole number",
    "string": "text in quotes",
    "bool": "true or false",
    "tuple": "a list in square brackets",
    "list": "a list in square brackets",
    "set": "a list in square brackets",
    "dict": "a table",
    "model": "a table",
}
_BOUNDS = {
    "greater_than": ("gt", "greater than"),
    "greater_than_equal": ("ge", "at least"),
    "less_than": ("lt", "less than"),
    "less_than_equal": ("le", "at most"),
}


class Table(BaseModel):
    """Base of the models of our TOML files: frozen, no unknown keys, no NaN."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


def checked(model: type[M], values: Mapping[str, Any]) -> M:
    """The values as a model, without conversions.

    Raises:
        ValidationError: pydantic's own.
    """
    # Through JSON, strict checks still take a list for a tuple and a word for an enum.
    return model.model_validate_json(to_json(values, inf_nan_mode="constants"), strict=True)


def problems_of(
    error: ValidationError, model: type[BaseModel], file: TomlFile, at: Path = ()
) -> list[PolicyError]:
    """Each fault as a PolicyError with file, line, key and the nearest valid key.

    Args:
        error: what the model said.
        model: whose keys are the valid ones.
        file: where the values came from.
        at: path of the model's table in the file.
    """
    listed = error.errors(include_url=False)[: MOST_PROBLEMS + 1]
    return [_problem(one, model, file, at) for one in listed]


def unknown(
    what: str, word: str, valid: Iterable[str], file: TomlFile, path: Path, mend: str = ""
) -> PolicyError:
    """An unknown word at a place: names the nearest valid one, or lists them if they are few."""
    listed = list(valid)
    return PolicyError(
        f"unknown {what} {short(word)!r}",
        path=file.path,
        place=f"line {file.line(path)}",
        mend=nearest(word, listed) or mend or f"Valid: {', '.join(sorted(listed)) or 'none'}.",
    )


def nearest(word: str, valid: Iterable[str]) -> str:
    """The question "Did you mean 'x'?"; empty if nothing is near."""
    if len(word) > _LONGEST_WORD:
        return ""
    close = difflib.get_close_matches(word, list(valid), n=1, cutoff=0.6)
    return f"Did you mean {close[0]!r}?" if close else ""


def raise_if_any(problems: Sequence[PolicyError]) -> None:
    """Raises the one problem, or all of them together, in the order of their lines.

    Of very many the first are raised, and one that says so.
    """
    if len(problems) == 1:
        raise problems[0]
    if problems:
        found = sorted(problems[:MOST_PROBLEMS], key=lambda one: (one.path, _line_number(one)))
        if len(problems) > MOST_PROBLEMS:
            said, last = f"more is wrong than these {MOST_PROBLEMS} places", found[-1]
            found.append(
                PolicyError(said, path=last.path, place=last.place, mend="Mend these first.")
            )
        raise PolicyErrors(found)


def dotted(path: Path) -> str:
    """A path for people: "rules.foot-slide.slide_error_mm"; indices are left out."""
    return ".".join(plain_key(key) for key in path if isinstance(key, str))


def plain_key(key: str) -> str:
    """A key as people write it: in quotes if it holds what a bare key may not."""
    bare = key.isascii() and key.replace("-", "_").isidentifier()
    return key if bare and len(key) <= _LONGEST_WORD else repr(short(key))


def short(text: str) -> str:
    """A text of the file, cut if it is too long to be read in a message."""
    return text if len(text) <= _LONGEST_WORD else f"{text[: _LONGEST_WORD - 1]}…"


def _line_number(problem: KinelintError) -> int:
    digits = problem.place.removeprefix("line ")
    return int(digits) if digits.isdigit() else 0


def _problem(one: ErrorDetails, model: type[BaseModel], file: TomlFile, at: Path) -> PolicyError:
    inner = _real_path(one, file, at)
    path = (*at, *inner)
    if one["type"] == "extra_forbidden":
        table = dotted(path[:-1])
        what = f"key in [{table}]:" if table else "key"
        return unknown(what, str(path[-1]), keys_at(model, inner[:-1]), file, path)
    return PolicyError(
        f"{dotted(path)} {_fault(one)}",
        path=file.path,
        place=f"line {file.line(path)}",
        mend=_mend(one),
    )


def _fault(one: ErrorDetails) -> str:
    kind, context = one["type"], one.get("ctx", {})
    if kind == "missing":
        return "is missing"
    if kind in _BOUNDS:
        name, words = _BOUNDS[kind]
        return f"must be {words} {context[name]}, not {_shown(one['input'])}"
    if kind in ("literal_error", "enum"):
        return f"must be {context['expected']}, not {_shown(one['input'])}"
    if kind == "value_error":
        return short_line(str(context["error"]))
    wanted = _KINDS.get(kind.removesuffix("_type").removesuffix("_parsing"))
    if kind in ("int_from_float", "finite_number"):
        wanted = "a whole number" if kind == "int_from_float" else "a finite number"
    if wanted:
        return f"must be {wanted}, not {_shown(one['input'])}"
    said = one["msg"].removeprefix("Input ").removeprefix("Value error, ")
    return short_line(f"{said[:1].lower()}{said[1:]}")


def short_line(text: str) -> str:
    """One line of a message that may quote the file."""
    return " ".join(text.split())[:200]


def _mend(one: ErrorDetails) -> str:
    if one["type"] in ("literal_error", "enum") and isinstance(one["input"], str):
        words = [word.strip("' ") for word in _expected(one).replace(" or ", ",").split(",")]
        return nearest(one["input"], words)
    return ""


def _expected(one: ErrorDetails) -> str:
    return str(one.get("ctx", {}).get("expected", ""))


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str):
        return f"the text {short(value)!r}"
    if isinstance(value, dict):
        return "a table"
    return "a list" if isinstance(value, list) else str(value)


def _real_path(one: ErrorDetails, file: TomlFile, at: Path) -> Path:
    """Where a fault is, without the names that pydantic gives the members of a union."""
    here: Any = file.data
    for step in at:
        here = here[step]
    path: list[str | int] = []
    for step in one["loc"]:
        if _has(here, step):
            path.append(step)
            here = here[step]
        elif one["type"] == "missing":
            path.append(step)
    return tuple(path)


def _has(container: Any, step: str | int) -> bool:
    if isinstance(container, dict):
        return step in container
    return isinstance(container, list) and isinstance(step, int) and step < len(container)


def keys_at(model: type[BaseModel], path: Path) -> list[str]:
    """The keys that a table inside a model may have."""
    kind: Any = model
    for step in path:
        kind = _step(kind, step)
    fields = _fields(kind)
    return sorted(fields or ())


def _step(kind: Any, step: str | int) -> Any:
    """The type of an item or key of a type; None if it has none."""
    for one in _members(kind):
        fields = _fields(one)
        if fields is not None and step in fields:
            return fields[str(step)]
        arguments = get_args(one)
        if get_origin(one) in (tuple, list) and isinstance(step, int) and arguments:
            return arguments[0]
        if get_origin(one) is dict and isinstance(step, str):
            return arguments[1]
    return None


def _members(kind: Any) -> tuple[Any, ...]:
    if get_origin(kind) in (Union, types.UnionType):
        return tuple(one for one in get_args(kind) if one is not type(None))
    return (kind,)


def _fields(kind: Any) -> dict[str, Any] | None:
    """Key (as the file has it) to type, of a model; None for other types."""
    for one in _members(kind):
        if isinstance(one, type) and issubclass(one, BaseModel):
            return {
                field.alias or name: field.annotation for name, field in one.model_fields.items()
            }
    return None
