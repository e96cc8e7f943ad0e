"""The page of a rule, from what the rule says of itself: Markdown for documents, text for SARIF."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence

import orjson

from kinelint.rule_info import RuleInfo, SettingInfo

CAUTION = (
    "These joint ranges screen animation. They are no medical reference, and no safe range for "
    "a performer."
)
_MADE = "<!-- Made from the rules themselves: edit the rule, not this page. -->"
_MEASURED = (
    "How often each built-in rule is right is measured: [ACCURACY.md](ACCURACY.md), beside this "
    "page in the project."
)
_ABOUT_RANGES = re.compile(
    r"\b(joint (range|limit)|ranges? of (joint )?motion|hyperexten|flexion)", re.IGNORECASE
)


def needs_caution(info: RuleInfo) -> bool:
    """Whether the rule judges by ranges of human joints, which others could take for advice."""
    said = " ".join((info.id.replace("-", " "), info.title, info.quantity, info.source))
    return bool(_ABOUT_RANGES.search(said))


def default_text(setting: SettingInfo) -> str:
    """A default with its unit: "50 mm", "true", "[]"."""
    value = setting.default
    text = value if isinstance(value, str) else orjson.dumps(value, default=str).decode()
    text = text.removesuffix(".0") if isinstance(value, float) else text
    return f"{text or 'empty'} {setting.unit}".rstrip()


def facts(info: RuleInfo) -> Iterator[tuple[str, str]]:
    """Heading and text of what a rule says besides its prose; nothing that is empty."""
    for heading, text in (
        ("Measures", info.quantity),
        ("On screen", info.on_screen),
        ("What to do", info.remedy),
        ("Source", info.source),
    ):
        if text.strip():
            yield heading, " ".join(text.split())


def markdown(
    info: RuleInfo, examples: Sequence[str] = (), *, heading: str = "##", caution: bool = True
) -> str:
    """The page of one rule.

    Args:
        info: what the rule says of itself.
        examples: names of its worked motions.
        heading: what goes before its id.
        caution: whether the caution about joint ranges ends the page, where it belongs.
    """
    pack = "" if info.pack == "kinelint" else f" From the pack {_safe(info.pack)}."
    version = f" Version {info.version}." if info.version > 1 else ""
    blocks = [
        f"{heading} {info.id}",
        f"**{_safe(info.title)}** Level: {info.level.value}.{version}{pack}",
    ]
    blocks += [_safe(info.text)] if info.text.strip() else []
    blocks += [f"**{name}.** {_safe(text)}" for name, text in facts(info) if name != "Source"]
    if info.settings:
        blocks.append("\n".join(_table(info.settings)))
    blocks += [f"**{name}.** {_safe(text)}" for name, text in facts(info) if name == "Source"]
    if examples:
        blocks.append("Worked motions: " + "; ".join(_safe(one) for one in examples) + ".")
    if caution and needs_caution(info):
        blocks.append(f"> {CAUTION}")
    return "\n\n".join(blocks) + "\n"


def catalogue(infos: Sequence[RuleInfo], examples: Mapping[str, Sequence[str]] = {}) -> str:
    """The page of all rules, by id; `examples` maps rule ids to names of worked motions."""
    infos = sorted(infos, key=lambda one: one.id)
    overview = ["| rule | what must hold | level |", "| --- | --- | --- |"]
    overview += [
        f"| [{one.id}](#{_anchor(one.id)}) | {_cell(one.title)} | {one.level.value} |"
        for one in infos
    ]
    pages = [markdown(one, examples.get(one.id, ()), caution=False) for one in infos]
    ending = [f"> {CAUTION}\n"] if any(needs_caution(one) for one in infos) else []
    head = ["# Rules", "", _MADE, "", _MEASURED, "", "\n".join(overview), ""]
    return "\n".join([*head, *pages, *ending])


def text_page(info: RuleInfo) -> str:
    """The page as plain text, one paragraph a line."""
    lines = [info.title, *_paragraphs(info.text)]
    lines += [f"{name}: {text}" for name, text in facts(info) if name != "Source"]
    lines += [
        f"Setting {one.name}, default {default_text(one)}: {' '.join(one.why.split())}"
        for one in info.settings
    ]
    lines += [f"{name}: {text}" for name, text in facts(info) if name == "Source"]
    lines += [CAUTION] if needs_caution(info) else []
    return "\n".join(line for line in lines if line) or info.id


def _paragraphs(text: str) -> list[str]:
    return [" ".join(block.split()) for block in re.split(r"\n\s*\n", text)]


def _table(settings: Sequence[SettingInfo]) -> Iterator[str]:
    yield "| setting | default | why | source |"
    yield "| --- | --- | --- | --- |"
    for one in settings:
        default = f"`{_cell(default_text(one))}`"
        yield f"| `{one.name}` | {default} | {_cell(one.why)} | {_cell(one.source)} |"


def _cell(text: str) -> str:
    return " ".join(_safe(text).split()).replace("|", "\\|")


def _safe(text: str) -> str:
    """Prose as it is, but no HTML: "<" outside code is spelled out."""
    pieces = re.split(r"(`+[^`]*`+)", text)
    return "".join(
        one if one.startswith("`") else one.replace("<", "&lt;").replace(">", "&gt;")
        for one in pieces
    )


def _anchor(rule_id: str) -> str:
    return rule_id.replace(".", "").lower()
