"""The table [costs]."""

from collections.abc import Iterator
from fractions import Fraction
from typing import Annotated

from pydantic import Field

from tracking.costs import Costs
from tracking.scenefile.forms import Number, Quantity, Text
from tracking.scenefile.problems import Problem
from tracking.scenefile.table import Table, default
from tracking.scenefile.units import Kind

LIFE = Kind(name="life", base="years", units={"years": Fraction(1), "year": Fraction(1)}, example="10 years")

LARGEST_PRICE = 1e12
"""In currencies of small units prices have many digits; no more than this."""

NAME = "units of money"
"""What the currency is called where the file does not name it."""


class CostsTable(Table):
    """Prices of the parts, each a plain number in the same currency."""

    lens: Annotated[float, Number(0.0, LARGEST_PRICE)]
    tube: Annotated[float, Number(0.0, LARGEST_PRICE)]
    frame: Annotated[float, Number(0.0, LARGEST_PRICE)]
    drive: Annotated[float, Number(0.0, LARGEST_PRICE)] = default(0)
    life: Annotated[float, Quantity(LIFE, "0.1 years", "100 years")] = default("10 years")
    currency: Annotated[str, Text("what the currency is called")] = Field(default=NAME)

    def _problems(self) -> Iterator[Problem]:
        if self.lens + self.tube + self.frame + self.drive <= 0.0:
            yield Problem(key="lens", problem="the whole machine costs nothing", allowed="at least one price above 0")

    def costs(self) -> Costs:
        """The prices of these keys."""
        return Costs(
            lens=self.lens,
            tube=self.tube,
            frame=self.frame,
            drive=self.drive,
            life=self.life,
            currency=self.currency,
        )
