"""What every installed rule owes, ours and those of any pack."""

import pytest

from kinelint.registry import load
from kinelint.testing import check_rule

RULES = load()


@pytest.mark.parametrize("rule_id", sorted(RULES))
def test_rule_keeps_its_contract_and_its_examples(rule_id):
    check_rule(RULES[rule_id].rule)


@pytest.mark.parametrize("rule_id", sorted(RULES))
def test_rule_tells_people_what_they_need(rule_id):
    info = RULES[rule_id].info
    for name in ("quantity", "on_screen", "remedy", "source", "text"):
        assert len(getattr(info, name)) > 15, f"{rule_id} says too little about its {name}"


@pytest.mark.parametrize("rule_id", sorted(RULES))
def test_numbers_carry_their_unit_in_the_name(rule_id):
    unitless = [
        s.name for s in RULES[rule_id].info.settings if s.type in ("float", "int") and not s.unit
    ]
    shares = [name for name in unitless if not name.endswith(("_share", "_times"))]
    assert not shares, f"{rule_id}: no unit in {shares}"
