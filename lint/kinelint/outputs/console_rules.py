"""Rules for people at a terminal: the list, and the page of one."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from kinelint.outputs.cells import apart, cell_width, cut, padded, wrapped
from kinelint.outputs.ink import Ink
from kinelint.outputs.rule_pages import CAUTION, default_text, facts, needs_caution
from kinelint.outputs.wording import prose
from kinelint.rule_info import RuleInfo, SettingInfo


def render_rules(infos: Sequence[RuleInfo], *, width: int = 80, colour: bool = False) -> str:
    """One line or two a rule, by id."""
    ink, infos = Ink(colour), sorted(infos, key=lambda one: one.id)
    ids = min(max((cell_width(one.id) for one in infos), default=0), width // 3)
    lines = []
    for one in infos:
        start = f"{padded(prose(one.id), ids)}  {padded(one.level.value, 7)}  "
        title = prose(one.title)
        if one.pack != "kinelint":
            title += f" (pack {prose(one.pack)})"
        rows = wrapped(title, width, first=start, rest=" " * (ids + 11))
        lines += [ink.strong(rows[0][: len(start)]) + rows[0][len(start) :], *rows[1:]]
    lines += ["", cut("kinelint rules RULE prints the page of one.", width)]
    return "\n".join([*lines, ""])


def render_rule(
    info: RuleInfo, examples: Sequence[str] = (), *, width: int = 80, colour: bool = False
) -> str:
    """The page of one rule; `examples` are names of its worked motions."""
    return "\n".join([*_page(info, examples, width, Ink(colour)), ""])


def _page(info: RuleInfo, examples: Sequence[str], width: int, ink: Ink) -> Iterator[str]:
    pack = f"{info.pack} {info.pack_version}".strip()
    right = f"level {info.level.value}, pack {prose(pack)}"
    yield ink.strong(apart(prose(info.id), right, width))
    yield from wrapped(prose(info.title), width)
    for block in _blocks(info.text):
        yield ""
        yield from wrapped(prose(block), width, first="  ", rest="  ")
    for name, text in facts(info):
        yield ""
        yield ink.strong(name)
        yield from wrapped(prose(text), width, first="  ", rest="  ")
    if info.settings:
        yield ""
        yield ink.strong("Settings")
        for one in info.settings:
            yield from _setting(one, width)
    if examples:
        yield ""
        yield ink.strong("Worked motions")
        for example in examples:
            yield from wrapped(prose(example), width, first="  - ", rest="    ")
    if needs_caution(info):
        yield ""
        yield from wrapped(CAUTION, width)


def _blocks(text: str) -> list[str]:
    return [block for block in re.split(r"\n\s*\n|\n(?=\s*[-*] )", text) if block.strip()]


def _setting(one: SettingInfo, width: int) -> Iterator[str]:
    yield from wrapped(
        f"{prose(one.name)} = {prose(default_text(one))}", width, first="  ", rest="      "
    )
    why = prose(one.why)
    if one.source:
        why += f" [{prose(one.source)}]"
    yield from wrapped(why, width, first="      ", rest="      ")
