"""`kinelint rules`."""

from __future__ import annotations

import argparse

from kinelint import registry
from kinelint.cli.terminal import coloured, width
from kinelint.errors import PolicyError
from kinelint.outputs.console_rules import render_rule, render_rules
from kinelint.outputs.rule_pages import catalogue, markdown
from kinelint.registry import Registered
from kinelint.toml_check import nearest


def run(asked: argparse.Namespace) -> int:
    """Lists the rules, or shows one."""
    rules = registry.load()
    wide, colour = width(), coloured(asked.colour)
    if asked.rule is None and asked.markdown:
        infos = [one.info for one in rules.values()]
        print(catalogue(infos, {id_: _examples(one) for id_, one in rules.items()}), end="")
        return 0
    if asked.rule is None:
        infos = [one.info for one in rules.values()]
        print(render_rules(infos, width=wide, colour=colour), end="")
        return 0
    if asked.rule not in rules:
        raise PolicyError(
            f"there is no rule {asked.rule!r}",
            mend=nearest(asked.rule, rules) or "`kinelint rules` lists them.",
        )
    one = rules[asked.rule]
    if asked.markdown:
        print(markdown(one.info, _examples(one)), end="")
        return 0
    print(render_rule(one.info, _examples(one), width=wide, colour=colour), end="")
    return 0


def _examples(one: Registered) -> list[str]:
    return [example.name for example in one.rule.examples()]
