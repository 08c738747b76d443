"""The group of commands: a file in place of a command is asked all three main questions."""

from __future__ import annotations

import os
from difflib import get_close_matches
from glob import escape, glob

import click
from click.shell_completion import CompletionItem

from verify.commands.shared import BAD, fail

SUMMARY = "summary"
ALLOW_CODE = "--allow-code"


class Commands(click.Group):
    """``fewwire FILE`` is ``fewwire summary FILE``; a misspelt command gets a suggestion."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Options of the group may also stand after the command, and those of ``summary`` before
        its file."""
        moved = [arg for arg in args if arg == ALLOW_CODE]
        rest = [arg for arg in args if arg != ALLOW_CODE]
        own = {*ctx.help_option_names, *(opt for param in self.params for opt in param.opts)}
        if rest and rest[0].startswith("-") and rest[0] not in own and any(map(_is_file, rest)):
            rest.insert(0, SUMMARY)
        return super().parse_args(ctx, [*moved, *rest])

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command named first, or ``summary`` where a file is named in its place."""
        word = args[0]
        if self.get_command(ctx, word) is not None or word.startswith("-"):
            return super().resolve_command(ctx, args)
        if _is_file(word):
            return SUMMARY, self.get_command(ctx, SUMMARY), args
        if ctx.resilient_parsing:
            return None, None, args
        close = get_close_matches(word, self.list_commands(ctx), n=1)
        hint = f"; did you mean '{close[0]}'?" if close else ""
        allowed = f"allowed: a link file, or one of `fewwire --help`{hint}"
        return fail(f"{word}: found neither a command nor a file; {allowed}", BAD)

    def shell_complete(self, ctx: click.Context, incomplete: str) -> list[CompletionItem]:
        """Commands, and files."""
        found = super().shell_complete(ctx, incomplete)
        # bash forgets what it was offered before files, and shows these only if that is all.
        links = [CompletionItem(name) for name in _links(incomplete)] if found else []
        return [CompletionItem(incomplete, type="file"), *found, *links]


def _links(incomplete: str) -> list[str]:
    """Link files whose names begin so."""
    try:
        return sorted(glob(f"{escape(incomplete)}*.toml"))
    except (OSError, ValueError):
        return []


def _is_file(word: str) -> bool:
    """There, or meant as one."""
    return word.endswith(".toml") or os.path.isfile(word)
