"""What is wanted of a plan of moves and of its sheet."""

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, kw_only=True, slots=True)
class PlanWish:
    """The options of a plan as they were given; at most one of `share`, `most` and `lazy`."""

    share: float | None
    most: int | None
    lazy: bool
    sheet: Path | None
    paper: str
    language: str

    @property
    def is_asked(self) -> bool:
        """Whether a plan was asked for by an option of its own."""
        return self.share is not None or self.most is not None or self.lazy or self.sheet is not None
