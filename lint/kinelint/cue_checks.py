"""What no model can see in a cue sheet: words for parts, props, holders and moments.

Works on the raw values, so that these faults are said together with those of the model.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from kinelint.anatomy.parts import PARTS
from kinelint.cue_words import HINT, PAIRS, expanded, families
from kinelint.errors import PolicyError
from kinelint.toml_check import unknown
from kinelint.toml_places import Path, TomlFile

_ENDS = ("start", "end")


def problems_in(
    file: TomlFile, props: Iterable[str] = (), holders: Iterable[str] = ()
) -> Iterator[PolicyError]:
    """Every unknown word, at its line.

    Args:
        file: the sheet.
        props: names that outer sheets bring.
        holders: the same.
    """
    known_props = {*props, *named(file, "prop")}
    known_holders = {*holders, *named(file, "holder")}
    yield from _parts(file)
    moments = {name for _, one in _tables(file.data, "cue") for name in _keys(one, "moments")}
    for number, cue in _tables(file.data, "cue"):
        at: Path = ("cue", number)
        for kind in ("held", "kept"):
            for index, one in _tables(cue, kind):
                inner = (*at, kind, index)
                yield from _name(file, one, "prop", known_props, inner)
                yield from _name(file, one, "holder", known_holders, inner)
                yield from _times(file, [one.get("from"), one.get("to")], moments, inner)
        for name, span in _items(cue, "phases"):
            yield from _times(file, span, moments, (*at, "phases", name))
    yield from _doubles(file)
    yield from _shapes(file)
    yield from _bonds(file, known_props)


def named(file: TomlFile, kind: str) -> list[str]:
    """The names that a sheet gives its props or holders."""
    names = (one.get("name") for _, one in _tables(file.data, kind))
    return [name for name in names if isinstance(name, str)]


def _parts(file: TomlFile) -> Iterator[PolicyError]:
    for number, entry in _tables(file.data, "cue"):
        for key in ("only_parts", "not_captured"):
            for index, part in enumerate(_words(entry, key)):
                if not expanded(part):
                    place: Path = ("cue", number, key, index)
                    yield unknown("part", part, families(), file, place, HINT)
        for index, contact in _tables(entry, "contact"):
            for which, part in enumerate(_words(contact, "parts")):
                if part not in PARTS and part not in PAIRS:
                    place = ("cue", number, "contact", index, "parts", which)
                    yield unknown("part", part, (*PARTS, *PAIRS), file, place, HINT)


def _name(
    file: TomlFile, table: dict[str, Any], kind: str, known: Iterable[str], at: Path
) -> Iterator[PolicyError]:
    word = table.get(kind)
    if isinstance(word, str) and word not in known:
        mend = f"Define it in a [[{kind}]] of this sheet."
        yield unknown(kind, word, known, file, (*at, kind), mend)


def _times(file: TomlFile, values: Any, moments: Iterable[str], at: Path) -> Iterator[PolicyError]:
    for value in values if isinstance(values, list) else ():
        if isinstance(value, str) and value not in moments and value not in _ENDS:
            mend = 'Name it under moments, or say "start", "end" or seconds.'
            yield unknown("moment", value, [*moments, *_ENDS], file, at, mend)


def _doubles(file: TomlFile) -> Iterator[PolicyError]:
    for kind in ("holder",):
        names = named(file, kind)
        for index, name in enumerate(names):
            if name in names[:index]:
                where = f"line {file.line((kind, index))}"
                what = f"there are two [[{kind}]] called {name!r}"
                yield PolicyError(what, path=file.path, place=where, mend="Rename one of them.")


def _shapes(file: TomlFile) -> Iterator[PolicyError]:
    for index, prop in _tables(file.data, "prop"):
        if "rod" in prop and "box" in prop:
            where = f"line {file.line(('prop', index, 'box'))}"
            what = f"prop {prop.get('name')!r} is a rod and a box"
            yield PolicyError(what, path=file.path, place=where, mend="Keep one of them.")


def _bonds(file: TomlFile, props: Iterable[str]) -> Iterator[PolicyError]:
    for index, chain in _tables(file.data, "chain"):
        steps = len(_words(chain, "steps"))
        pairs = bool(chain.get("before")) and bool(_words(chain, "after"))
        halves = "before" in chain or "after" in chain
        if (steps > 1) == pairs or (halves and not pairs):
            where = f"line {file.line(('chain', index))}"
            mend = "Give steps (two patterns or more), or before and after."
            what = "the chain does not say what follows what"
            yield PolicyError(what, path=file.path, place=where, mend=mend)
    for index, partners in _tables(file.data, "partners"):
        for which, word in enumerate(_words(partners, "touch")):
            if word and word not in PARTS and word not in props:
                place: Path = ("partners", index, "touch", which)
                yield unknown("part or prop", word, (*PARTS, *props), file, place, HINT)


def _tables(table: Any, key: str) -> Iterator[tuple[int, dict[str, Any]]]:
    found = table.get(key) if isinstance(table, dict) else None
    for index, one in enumerate(found if isinstance(found, list) else ()):
        if isinstance(one, dict):
            yield index, one


def _items(table: dict[str, Any], key: str) -> Iterable[tuple[str, Any]]:
    found = table.get(key)
    return found.items() if isinstance(found, dict) else ()


def _keys(table: dict[str, Any], key: str) -> Iterable[str]:
    return [name for name, _ in _items(table, key)]


def _words(table: Any, key: str) -> Sequence[str]:
    found = table.get(key) if isinstance(table, dict) else None
    return [one for one in found if isinstance(one, str)] if isinstance(found, list) else ()
