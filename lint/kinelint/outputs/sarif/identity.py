"""Who a result is from one run to the next (3.27.17): never paths, frames, times or lines."""

from __future__ import annotations

import hashlib

from kinelint.outputs.sarif.entries import Entry, Passed, Unfit
from kinelint.report import Located

DEFECT = "animationDefect/v1"
SPAN = "spanContent/v1"
HOST = "primaryLocationLineHash"


class Identities:
    """Partial fingerprints, unique within their rule: equal ones are counted in log order."""

    def __init__(self) -> None:
        self._seen: dict[tuple[str, str], dict[str, int]] = {}
        self._path = ""
        self._at_path: dict[tuple[str, str], int] = {}

    def of(self, entry: Entry, rule_id: str) -> dict[str, str]:
        """All fingerprints of the next result; call it once for every entry, in log order."""
        defect, span = _contents(entry)
        return {
            DEFECT: self._unique(DEFECT, rule_id, defect),
            SPAN: self._unique(SPAN, rule_id, span),
            HOST: self._of_host(entry, rule_id, defect),
        }

    def _unique(self, name: str, rule_id: str, value: str) -> str:
        seen = self._seen.setdefault((name, rule_id), {})
        seen[value] = count = seen.get(value, 0) + 1
        return value if count == 1 else f"{value}:{count}"

    def _of_host(self, entry: Entry, rule_id: str, defect: str) -> str:
        """Code hosts add path and rule to it, so it is counted within these alone."""
        path = entry.asset.path if entry.asset else ""
        if path != self._path:
            self._path, self._at_path = path, {}
        short = defect[:16]
        self._at_path[rule_id, short] = count = self._at_path.get((rule_id, short), 0) + 1
        return f"{short}:{count}"


def _contents(entry: Entry) -> tuple[str, str]:
    what = entry.what
    clip = entry.clip.name if entry.clip else ""
    if isinstance(what, Located):
        made = _digest("finding", clip, *what.parts, what.detail, what.unit)
        defect = what.content_id or what.place_id or made
        return _as_hex(defect), _as_hex(what.place_id or what.content_id or made)
    if isinstance(what, Unfit):
        made = _digest("unfit", clip, what.reason, *what.parts)
    elif isinstance(what, Passed):
        made = _digest("passed", clip)
    else:
        made = _digest("trouble", what.kind, what.clip or clip, what.rule_id)
    return made, made


def _as_hex(value: str) -> str:
    """As it is if it is a digest already: the first 16 digits must tell results apart."""
    is_hex = len(value) >= 16 and not value.strip("0123456789abcdef")
    return value if is_hex else _digest(value)


def _digest(*parts: str) -> str:
    text = "\0".join(parts).encode("utf-8", "surrogatepass")
    return hashlib.sha256(text).hexdigest()[:32]
