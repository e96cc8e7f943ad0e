"""The page of the rules is made from the rules, and is fresh."""

from pathlib import Path

from kinelint.cli import main
from kinelint.registry import load

PAGE = Path(__file__).resolve().parent.parent / "rules" / "README.md"


def test_the_page_of_the_rules_is_fresh(capsys):
    assert main(["rules", "--markdown"]) == 0
    made = capsys.readouterr().out
    assert PAGE.read_text(encoding="utf-8") == made, (
        "run: kinelint rules --markdown > rules/README.md"
    )


def test_every_rule_and_every_setting_is_on_it():
    text = PAGE.read_text(encoding="utf-8")
    for rule_id, registered in load().items():
        assert f"`{rule_id}`" in text or f"# {rule_id}" in text
        for one in registered.info.settings:
            assert one.name in text


def test_one_rule_can_be_had_alone(capsys):
    assert main(["rules", "joint-limit", "--markdown"]) == 0
    page = capsys.readouterr().out
    assert "no medical reference" in page
    assert "foot-slide" not in page
