"""All that is promised of the pack's rules."""

from ferry_rules import RULES
from kinelint import check_rule


def test_awning() -> None:
    check_rule(RULES[0])
