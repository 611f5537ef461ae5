"""The command `millbook`: the group of the commands in builder/commands/."""

from __future__ import annotations

import os
from importlib import import_module

import click

from builder import __version__
from builder.publish.garbage_collection import collect_less_often

COMMANDS = (
    "check", "compare", "due", "export", "figures", "find", "handover", "import_", "new", "plan", "preview", "publish",
    "repeatability", "schema", "sheet", "similar", "worksheet",
)  # fmt: skip
"""The modules of builder/commands/ that are a command each."""


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="millbook")
def main() -> None:
    """Turn a shop's build records into a browsable archive.

    Every engine is a folder of YAML files and dyno logs below builds/. Start one with `millbook new`, fill
    it in, check it with `millbook check`, and make the site with `millbook publish`.
    """
    collect_less_often()
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        # Our arrays are small: threads for linear algebra cost more to start than they save.
        os.environ.setdefault(name, "1")


for name in COMMANDS:
    main.add_command(import_module(f"builder.commands.{name}").command)
