"""What every sheet for the bench can do: be read as text, printed as a page, kept as JSON."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import Self

from dyemix.bench.page import Page
from dyemix.dataset.serialise import from_json, to_json


class Printed(ABC):
    """A sheet, final in all but its page."""

    @abstractmethod
    def page(self) -> Page:
        """The sheet as blocks for text or print."""

    def __str__(self) -> str:
        return self.page().text()

    def to_html(self) -> str:
        """A self-contained page that prints on A4 and Letter."""
        return self.page().html()

    def to_json(self) -> str:
        """Every figure of the sheet, after the line that must not be overlooked."""
        return to_json(self, self.page().banner)

    @classmethod
    def from_json(cls, text: str) -> Self:
        """The sheet that `to_json` wrote. Raises `SavedError` for anything else."""
        return from_json(cls, text)
