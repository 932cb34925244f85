"""The words for how well a link or a piece of evidence stands."""

from dataclasses import dataclass
from enum import StrEnum


class Support(StrEnum):
    """How well a link stands on its evidence."""

    SUPPORTED = "supported"
    UNSUPPORTED = "unsupported"
    CONTRADICTED = "contradicted"
    NOT_CHECKED = "not checked"


@dataclass(frozen=True, slots=True)
class LinkSupport:
    """State of one link, the reason in words, and the evidence that bears on it."""

    state: Support
    reason: str
    evidence: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.state}: {self.reason}"
