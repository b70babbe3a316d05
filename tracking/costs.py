"""What a machine costs: plain numbers, in any currency."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True, slots=True)
class Costs:
    """Prices of the parts, in one currency; `tube` is that of one tube, `life` that of the whole machine [years]."""

    lens: float
    tube: float
    frame: float
    drive: float
    life: float
    currency: str

    def of_machine(self, tubes: int) -> float:
        """Price of a machine with so many tubes."""
        return self.lens + tubes * self.tube + self.frame + self.drive
