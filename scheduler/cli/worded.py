"""Options that take words without quotes, as --rows carrot 2."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from typer.core import TyperCommand


class WordedCommand(TyperCommand):
    """A command some of whose options take all words up to the next option."""

    worded: ClassVar[Sequence[str]] = ()

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Join the words of an option before they are parsed."""
        joined: list[str] = []
        is_open = False
        for word in args:
            if word.startswith("--") or word == "-h":
                joined.append(word)
                is_open = word in self.worded
                if is_open:
                    joined.append("")
            elif is_open:
                joined[-1] = f"{joined[-1]} {word}".strip()
            else:
                joined.append(word)
        return super().parse_args(ctx, joined)
