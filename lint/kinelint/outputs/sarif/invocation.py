"""How the run went: its exit, its troubles, what was assumed, and under which settings (3.20)."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from kinelint.finding import Note
from kinelint.outputs.incidents import Incidents
from kinelint.outputs.sarif.components import Components
from kinelint.outputs.sarif.details import RunDetails, utc
from kinelint.outputs.sarif.encode import plain_value
from kinelint.outputs.sarif.entries import assets_in_order
from kinelint.outputs.sarif.messages import message, trouble_text
from kinelint.outputs.sarif.own_rules import (
    ASSUMPTION,
    LEFT_OUT,
    notice_reference,
    rule_of_trouble,
)
from kinelint.outputs.sarif.places import Places
from kinelint.outputs.wording import exit_meaning, prose, sentence
from kinelint.report import AssetReport, ClipReport, Report, RuleSetup, Trouble, Verdict

_RAISED = re.compile(r"^([A-Za-z_][\w.]*)(?:: (.*))?$")


class Invocation:
    """Makes the invocation object of one log."""

    def __init__(
        self, report: Report, troubles: Incidents, components: Components, places: Places
    ) -> None:
        self._report, self._troubles = report, troubles
        self._components, self._places = components, places
        self._assets = {asset.path: asset for asset in assets_in_order(report, troubles)}

    def made(self, details: RunDetails, *, notes: bool, left_out: int) -> dict[str, Any]:
        """The object; `notes` puts in what was assumed, `left_out` what did not fit."""
        verdict = self._report.verdict
        made: dict[str, Any] = {
            # An error notification means that the run failed; findings do not (3.20.14, 3.20.21).
            "executionSuccessful": verdict is not Verdict.INCOMPLETE and not len(self._troubles),
            "exitCode": verdict.exit_status,
            "exitCodeDescription": exit_meaning(verdict, self._report.fail_on),
        }
        if details.command_line:
            made["commandLine"] = details.command_line
        if details.started:
            made["startTimeUtc"] = utc(details.started)
        if details.ended:
            made["endTimeUtc"] = utc(details.ended)
        made |= self._overrides()
        notices = [*(self._trouble(one) for one in self._troubles)]
        notices += [_left_out(left_out)] if left_out else []
        notices += self._assumptions() if notes else []
        return made | ({"toolExecutionNotifications": notices} if notices else {})

    def _overrides(self) -> dict[str, Any]:
        """What the policy changed everywhere, and, in a bag, what it changed in some scope.

        An override holds for the whole run in SARIF, so one of a scope must not stand there.
        """
        everywhere, scoped = [], []
        for setup in sorted(self._report.setups, key=lambda one: (one.rule_id, one.scope)):
            if setup.enabled and setup.level is None and not setup.overridden:
                continue
            override = self._override(setup)
            if setup.scope:
                scoped.append(override | {"scope": setup.scope})
            elif override not in everywhere:
                everywhere.append(override)
        made: dict[str, Any] = {}
        if everywhere:
            made["ruleConfigurationOverrides"] = everywhere
        if scoped:
            made["properties"] = {"animation": {"scopedConfigurationOverrides": scoped}}
        return made

    def _override(self, setup: RuleSetup) -> dict[str, Any]:
        configuration: dict[str, Any] = {"enabled": setup.enabled}
        if setup.level is not None:
            configuration["level"] = setup.level.value
        if setup.overridden:
            parameters = {str(key): plain_value(one) for key, one in setup.overridden.items()}
            configuration["parameters"] = dict(sorted(parameters.items()))
        made: dict[str, Any] = {"descriptor": self._components.reference(setup.rule_id)}
        made["configuration"] = configuration
        if setup.line is not None:
            made["properties"] = {"policyLine": setup.line}
        return made

    def _trouble(self, trouble: Trouble) -> dict[str, Any]:
        made: dict[str, Any] = {
            "descriptor": notice_reference(rule_of_trouble(trouble.kind)),
            "level": "error",
            "message": message(trouble_text(trouble), escape_braces=True),
        }
        place = self._place(trouble)
        if place:
            made["locations"] = [place]
        if trouble.rule_id:
            made["associatedRule"] = self._components.reference(trouble.rule_id)
        if trouble.details:
            made["exception"] = _exception(trouble)
        return made

    def _place(self, trouble: Trouble) -> dict[str, Any] | None:
        if not trouble.path:
            return self._places.of_policy()
        asset = self._assets[trouble.path]
        clips = [one for one in asset.clips if one.name == trouble.clip]
        return self._places.of_clip(asset, clips[0] if clips else None)

    def _assumptions(self) -> Iterator[dict[str, Any]]:
        for note in self._report.notes:
            yield _assumption(note, self._places.of_policy())
        for asset in self._assets.values():
            for note in asset.notes:
                yield _assumption(note, self._places.of_asset(asset))
            for clip in sorted(asset.clips, key=lambda one: (one.name, one.handle)):
                yield from self._of_clip(asset, clip)

    def _of_clip(self, asset: AssetReport, clip: ClipReport) -> Iterator[dict[str, Any]]:
        for note in clip.notes:
            yield _assumption(note, self._places.of_clip(asset, clip))


def _assumption(note: Note, place: dict[str, Any] | None) -> dict[str, Any]:
    topic = re.sub(r"[^a-z0-9-]+", "-", note.topic.lower()).strip("-")
    made: dict[str, Any] = {
        "descriptor": notice_reference(ASSUMPTION, topic),
        "level": "note",
        "message": message(sentence(note.text), escape_braces=True),
    }
    return made | ({"locations": [place]} if place else {})


def _left_out(count: int) -> dict[str, Any]:
    text = f"The worst findings were written; {count:,} more were left out of this log."
    return {
        "descriptor": notice_reference(LEFT_OUT),
        "level": "warning",
        "message": message(text, escape_braces=True),
    }


def _exception(trouble: Trouble) -> dict[str, Any]:
    """Kind and message only: the frames of a traceback hold paths of somebody's machine."""
    last = next((line for line in reversed(trouble.details.splitlines()) if line.strip()), "")
    raised = _RAISED.match(last.strip())
    if raised is None:
        return {"message": prose(last) or prose(trouble.text)}
    return {"kind": raised[1], "message": prose(raised[2] or trouble.text)}
