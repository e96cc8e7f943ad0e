"""`kinelint formats`."""

from __future__ import annotations

import argparse

from kinelint.cli.terminal import coloured, width
from kinelint.errors import PolicyError
from kinelint.outputs.format_pages import page, page_of_all, render_format, render_formats
from kinelint.readers import registry
from kinelint.toml_check import nearest


def run(asked: argparse.Namespace) -> int:
    """Lists the formats, or shows what is carried over from one."""
    infos = {one.media: one for one in registry.formats()}
    if asked.format is None:
        made = list(infos.values())
        text = (
            page_of_all(made)
            if asked.markdown
            else render_formats(made, width=width(), colour=coloured(asked.colour))
        )
        print(text, end="")
        return 0
    if asked.format not in infos:
        raise PolicyError(
            f"there is no format {asked.format!r}",
            mend=nearest(asked.format, infos) or "`kinelint formats` lists them.",
        )
    one = infos[asked.format]
    text = (
        page(one)
        if asked.markdown
        else render_format(one, width=width(), colour=coloured(asked.colour))
    )
    print(text, end="")
    return 0
