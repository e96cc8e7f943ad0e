"""One result object (3.27) from one entry."""

from __future__ import annotations

from typing import Any

from kinelint.outputs.sarif.components import Components
from kinelint.outputs.sarif.encode import finite
from kinelint.outputs.sarif.entries import Entry, Passed, Unfit
from kinelint.outputs.sarif.flow import code_flow
from kinelint.outputs.sarif.identity import HOST
from kinelint.outputs.sarif.messages import message, text_of
from kinelint.outputs.sarif.own_rules import rule_of_trouble
from kinelint.outputs.sarif.places import Places
from kinelint.outputs.wording import part_label, prose
from kinelint.report import Located, Trouble

# A finding on a whole body need not list every joint of it.
_MOST_RELATED = 10


def rule_id_of(entry: Entry) -> str:
    """The id under which an entry is reported."""
    what = entry.what
    return rule_of_trouble(what.kind).id if isinstance(what, Trouble) else what.rule_id


class Results:
    """Makes the results of one log."""

    def __init__(
        self, components: Components, places: Places, *, suppressions: bool, for_host: bool
    ) -> None:
        self._components, self._places = components, places
        self._suppressions, self._for_host = suppressions, for_host

    def of(self, entry: Entry, identity: dict[str, str], *, flow: bool) -> dict[str, Any]:
        """The result of one entry."""
        made = self._components.of_result(rule_id_of(entry)) | self._graded(entry)
        made["message"] = self._message(text_of(entry.what, entry.clip))
        made["locations"] = self._locations(entry)
        if isinstance(entry.what, Located):
            made |= self._of_finding(entry, entry.what, flow)
        if not self._for_host:
            identity = {name: one for name, one in identity.items() if name != HOST}
        made["partialFingerprints"] = identity
        if self._suppressions:
            made["suppressions"] = self._waiver(entry)
        bag = _bag(entry)
        return made | ({"properties": {"animation": bag}} if bag else {})

    def _message(self, text: str) -> dict[str, Any]:
        return message(text, escape_braces=not self._for_host)

    def _graded(self, entry: Entry) -> dict[str, Any]:
        # Only a failure has a level and a rank (3.27.10, 3.27.25).
        if isinstance(entry.what, Unfit):
            return {"kind": "notApplicable", "level": "none"}
        if isinstance(entry.what, Passed):
            return {"kind": "pass", "level": "none"}
        level = entry.what.level.value if isinstance(entry.what, Located) else "error"
        return {"kind": "fail", "level": level, "rank": entry.rank}

    def _locations(self, entry: Entry) -> list[dict[str, Any]]:
        what, asset, clip = entry.what, entry.asset, entry.clip
        if asset is None:
            policy = self._places.of_policy()
            return [policy] if policy else []
        if isinstance(what, Located) and clip is not None:
            return [self._places.of_finding(asset, clip, what)]
        return [self._places.of_clip(asset, clip)]

    def _of_finding(self, entry: Entry, finding: Located, flow: bool) -> dict[str, Any]:
        made: dict[str, Any] = {}
        asset, clip = entry.asset, entry.clip
        if asset is None or clip is None:
            return made
        related = []
        for part in range(1, min(len(finding.parts), _MOST_RELATED + 1)):
            place = self._places.of_finding(asset, clip, finding, part)
            place["message"] = self._message(part_label(finding.parts[part]))
            related.append({"id": part, **place})
        if related:
            made["relatedLocations"] = related
        if flow:
            braces = not self._for_host
            made["codeFlows"] = [
                code_flow(self._places, asset, clip, finding, escape_braces=braces)
            ]
        return made

    def _waiver(self, entry: Entry) -> list[dict[str, Any]]:
        if not (isinstance(entry.what, Located) and entry.what.waived):
            return []
        # Without a status it would be for the consumer to judge whether it counts.
        waiver: dict[str, Any] = {"kind": "external", "status": "accepted"}
        waiver["justification"] = prose(entry.what.waived)
        policy = self._places.of_policy()
        return [waiver | ({"location": policy} if policy else {})]


def _bag(entry: Entry) -> dict[str, Any]:
    what = entry.what
    if isinstance(what, Unfit):
        return _filled({"reason": prose(what.reason), "parts": list(what.parts)})
    if isinstance(what, Trouble):
        return _filled({"trouble": what.kind, "rule": what.rule_id, "place": prose(what.place)})
    if isinstance(what, Passed):
        return {}
    bag: dict[str, Any] = {"parts": list(what.parts), "detail": what.detail}
    for name, value in (("measured", what.measured), ("limit", what.limit)):
        bag[name] = {"value": value, "unit": what.unit} if finite(value) else None
    for name, point in (("at", what.at_m), ("direction", what.direction)):
        if point is not None and all(map(finite, point)):
            bag[name] = list(point)
    bag |= {"setting": what.setting, "limitSource": prose(what.limit_source)}
    bag["confidence"] = what.confidence
    return _filled(bag | {"remedy": prose(what.remedy)})


def _filled(bag: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in bag.items() if value not in (None, "", [])}
