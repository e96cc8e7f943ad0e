"""Pages of rules in Markdown."""

from __future__ import annotations

from dataclasses import replace

from kinelint.outputs.rule_pages import CAUTION, catalogue, markdown, needs_caution, text_page
from outputs import made_report as made


def test_a_page_says_all_that_the_rule_says():
    page = markdown(made.FOOT_SLIDE, ("feet planted", "foot slides 64 mm"))
    assert page.startswith("## foot-slide\n\n**A planted foot stays where it is.** Level: warning.")
    for said in ("**Measures.** Path of", "**On screen.** The foot", "**What to do.** Pin",
                 "**Source.** common practice"):  # fmt: skip
        assert said in page
    assert "| `error_mm` | `50 mm` | Clean captures reach 30. | our own trial |" in page
    assert "Worked motions: feet planted; foot slides 64 mm." in page
    assert CAUTION not in page


def test_cells_of_a_table_hold_their_bars():
    assert "What may be planted \\| and what not." in markdown(made.FOOT_SLIDE)


def test_html_in_prose_is_spelled_out_but_code_is_left_alone():
    info = replace(made.FOOT_SLIDE, text="<b>bold</b> and `a < b`")
    page = markdown(info)
    assert "&lt;b&gt;bold&lt;/b&gt; and `a < b`" in page
    assert "<b>" not in page


def test_the_caution_stands_where_joint_ranges_are_and_only_there():
    assert [one.id for one in made.RULES if needs_caution(one)] == ["joint-limit"]
    assert markdown(made.JOINT_LIMIT).rstrip().endswith(CAUTION)
    assert text_page(made.JOINT_LIMIT).endswith(CAUTION)


def test_the_catalogue_lists_every_rule_and_ends_with_the_caution():
    page = catalogue(made.RULES, {"foot-slide": ["feet planted"]})
    assert page.count("\n## ") == len(made.RULES)
    for one in made.RULES:
        assert f"| [{one.id}](#" in page
    assert "Worked motions: feet planted." in page
    assert page.count(CAUTION) == 1
    assert page.rstrip().endswith(CAUTION)
    assert CAUTION not in catalogue([made.FOOT_SLIDE])


def test_a_catalogue_does_not_depend_on_the_order_of_its_rules():
    assert catalogue(made.RULES) == catalogue(made.RULES[::-1])


def test_a_pack_is_named():
    assert "From the pack night-ferry-rules." in markdown(made.HIP_TURN)
