"""A team's own rule pack comes in by the same door as ours, and is held to as much."""

import sys
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from kinelint.errors import RegistryError
from kinelint.registry import GROUP, load
from kinelint.testing import check_rule

PACK = Path(__file__).resolve().parent.parent / "example_project" / "ferry_rules"


@pytest.fixture
def pack(monkeypatch):
    monkeypatch.syspath_prepend(str(PACK))
    yield EntryPoint(name="ferry", value="ferry_rules:RULES", group=GROUP)
    for name in [name for name in sys.modules if name.split(".")[0] == "ferry_rules"]:
        del sys.modules[name]


def test_the_example_pack_loads_and_keeps_the_contract(pack):
    rules = load([pack])
    assert list(rules) == ["ferry.awning"]
    assert rules["ferry.awning"].pack == "ferry_rules:RULES"
    check_rule(rules["ferry.awning"].rule)


def test_two_rules_of_one_name_are_refused(pack, tmp_path, monkeypatch):
    (tmp_path / "other_rules.py").write_text(
        "from ferry_rules.awning import Awning\n"
        "class Other(Awning):\n    '''Another.'''\nRULES = (Other,)\n",
        encoding="utf-8",
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    other = EntryPoint(name="other", value="other_rules:RULES", group=GROUP)
    with pytest.raises(RegistryError, match=r"two rules are called 'ferry\.awning'"):
        load([pack, other])


@pytest.mark.parametrize(
    ("body", "complaint"),
    [
        ("class R(Rule[RuleSettings]):\n    id = 'x.y'\n    source = 's'\n", "docstring"),
        (
            "class R(Rule[RuleSettings]):\n    'Title.'\n    id = 'Bad Id'\n    source = 's'\n",
            "slug",
        ),
        ("class R(Rule[RuleSettings]):\n    'Title.'\n    id = 'x.y'\n", "source"),
        ("R = 5\n", "not a subclass"),
    ],
)
def test_malformed_rules_are_named_with_their_fault(tmp_path, monkeypatch, body, complaint):
    text = "from kinelint.rule import Rule, RuleSettings\n" + body + "RULES = (R,)\n"
    (tmp_path / "bad_rules.py").write_text(text, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.delitem(sys.modules, "bad_rules", raising=False)
    entry = EntryPoint(name="bad", value="bad_rules:RULES", group=GROUP)
    with pytest.raises(RegistryError, match=complaint):
        load([entry])
    sys.modules.pop("bad_rules", None)


def test_a_pack_that_cannot_be_imported_is_named():
    entry = EntryPoint(name="gone", value="no_such_module_here:RULES", group=GROUP)
    with pytest.raises(RegistryError, match="no_such_module_here"):
        load([entry])
