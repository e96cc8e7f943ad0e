"""Descriptors for what the tool itself has to say: a run that could not be completed, notes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from kinelint.outputs.wording import rule_name


@dataclass(frozen=True, slots=True)
class OwnRule:
    """One thing that the tool reports of itself."""

    id: str
    title: str
    text: str
    help: str

    def descriptor(self, level: str) -> dict[str, Any]:
        """As a reportingDescriptor (3.49)."""
        return {
            "id": self.id,
            "name": rule_name(self.id),
            "shortDescription": {"text": self.title},
            "fullDescription": {"text": self.text},
            "help": {"text": self.help, "markdown": self.help},
            "defaultConfiguration": {"level": level},
        }


_TROUBLES = {
    "unreadable-asset": OwnRule(
        "unreadable-asset",
        "An asset could not be read.",
        "The file is missing, cut off, damaged or of a kind that is not supported. None of its "
        "clips was judged.",
        "Export the asset again, or leave it out in the policy.",
    ),
    "misread-body": OwnRule(
        "misread-body",
        "A skeleton could not be understood as a body.",
        "The parts of the body that the rules need were not found in the skeleton, or two of them "
        "contradict each other. Its clips were not judged.",
        "Name the joints of the parts in the policy.",
    ),
    "crashed-rule": OwnRule(
        "crashed-rule",
        "A rule crashed on a clip.",
        "A rule raised an error instead of judging. What it had found on this clip is dropped; "
        "the other rules went on.",
        "Report it to the author of the rule with the clip. Until it is mended, the policy may "
        "turn the rule off for this clip.",
    ),
    "lost-worker": OwnRule(
        "lost-worker",
        "A worker process ended while it judged an asset.",
        "A process of the run died (out of memory, or a fault in a compiled library). The asset "
        "named was not judged.",
        "Run the asset alone to see whether it is the cause; use fewer workers if memory is short.",
    ),
    "required-rule": OwnRule(
        "required-rule-not-judged",
        "A rule that the policy requires could not judge a clip.",
        "The policy requires this rule for this clip, and the clip lacks what the rule needs, so "
        "nobody knows whether the clip is sound.",
        "Give the clip what the reason names, or drop the requirement for it in the policy.",
    ),
}
_OTHER = OwnRule(
    "not-completed",
    "Something kept the run from being complete.",
    "A part of the run could not be carried out; the message says which.",
    "Follow the message, then run again.",
)
TROUBLE_RULES = (*_TROUBLES.values(), _OTHER)

ASSUMPTION = OwnRule(
    "assumption",
    "Something was assumed, inferred or set aside.",
    "The file or the policy left something open; the message says what was taken. The topic is "
    "the second part of the id.",
    "If it is wrong, state the right value in the policy or the cue sheet.",
)
LEFT_OUT = OwnRule(
    "results-left-out",
    "Not every finding is in this log.",
    "Code hosts keep a limited number of results for each log; the worst ones were written.",
    "The full profile and the JSON report hold all of them.",
)
NOTICES = (*TROUBLE_RULES, ASSUMPTION, LEFT_OUT)


def rule_of_trouble(kind: str) -> OwnRule:
    """The descriptor of a trouble's kind."""
    return _TROUBLES.get(kind, _OTHER)


def notice_reference(rule: OwnRule, part: str = "") -> dict[str, Any]:
    """A reference to a notification's descriptor; `part` is one more component (3.52.4)."""
    return {"id": f"{rule.id}/{part}" if part else rule.id, "index": NOTICES.index(rule)}
