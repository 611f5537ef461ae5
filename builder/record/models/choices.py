"""Choices and their synonyms: the words that a shop writes for one of a few things, and the one word that is kept."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Self, get_args

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import core_schema

from builder.record.quantities.readings import as_written


class Choice(str):
    """A choice in its normal form; ``text`` is the word that was written for it."""

    __slots__ = ("text",)
    text: str

    def __new__(cls, normal: str, text: str = "") -> Self:
        """Return a choice. Without ``text`` it was written in its normal form."""
        choice = super().__new__(cls, normal)
        choice.text = text or normal
        return choice

    def __reduce__(self) -> tuple[type[Choice], tuple[str, str]]:
        """Return what makes the same choice again in another process."""
        return Choice, (str(self), self.text)


def choice_key(text: str) -> str:
    """Return a word without capitals, blanks, dots and hyphens: `Four-Stroke` and `four stroke` are the same."""
    return re.sub(r"[\s._-]+", "", text.casefold()) or text


@dataclass(frozen=True)
class Synonyms:
    """Annotation of a Literal: the other words for each of its choices, separated by commas."""

    words: Mapping[str, str]

    def __hash__(self) -> int:
        """Return a hash of the words, as pydantic asks of an annotation."""
        return hash(tuple(self.words.items()))

    @property
    def table(self) -> Mapping[str, tuple[str, ...]]:
        """The other words by the choice that they stand for."""
        return {choice: tuple(word.strip() for word in words.split(",")) for choice, words in self.words.items()}

    @cached_property
    def _choices(self) -> Mapping[str, str]:
        return {choice_key(word): choice for choice, words in self.table.items() for word in (*words, choice)}

    def normal(self, text: str) -> str | None:
        """Return the choice that a word stands for, or None."""
        return self._choices.get(choice_key(text))

    @classmethod
    def of(cls, choice: Any) -> Synonyms:
        """Return the synonyms that the type of a choice is annotated with."""
        return next(note for note in get_args(choice) if isinstance(note, cls))

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> core_schema.CoreSchema:
        """Read a word as its choice, and keep the word."""
        by_key = {choice_key(choice): choice for choice in get_args(source)}

        def read(given: object, literal: Callable[[object], Any]) -> Any:
            if isinstance(given, Choice):
                return given
            if isinstance(given, (dict, list, bool)) or given is None:
                return literal(given)
            text = " ".join(as_written(given).split())
            normal = self.normal(text) or by_key.get(choice_key(text), text)
            return Choice(str(literal(normal)), text)

        return core_schema.no_info_wrap_validator_function(
            read, handler(source), serialization=core_schema.to_string_ser_schema()
        )

    def __get_pydantic_json_schema__(
        self, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Offer the choices and their synonyms to an editor."""
        shown = dict(handler(schema))
        choices = shown.pop("enum", None) or [shown.pop("const")]
        synonyms = [word for words in self.table.values() for word in words]
        return {**shown, "enum": list(dict.fromkeys((*choices, *synonyms)))}
