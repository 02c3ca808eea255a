"""Options that take words without quotes, as --rows carrot 2."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from typer.core import TyperCommand

from scheduler.errors import UsageError


class WordedCommand(TyperCommand):
    """A command some of whose options take all words up to the next option.

    Those of `worded` that are not among `repeated` are given once: of two, one would be lost.
    """

    worded: ClassVar[Sequence[str]] = ()
    repeated: ClassVar[Sequence[str]] = ()

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Join the words of an option before they are parsed."""
        joined: list[str] = []
        is_open = False
        seen: set[str] = set()
        for word in args:
            if word.startswith("--") or word == "-h":
                option, _, first = word.partition("=")
                is_open = option in self.worded
                joined += [option, first] if is_open else [word]
                if option in seen:
                    raise UsageError(f"{option}: found twice; give it once")
                if is_open and option not in self.repeated:
                    seen.add(option)
            elif is_open:
                joined[-1] = f"{joined[-1]} {word}".strip()
            else:
                joined.append(word)
        return super().parse_args(ctx, joined)
