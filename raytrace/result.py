"""What a trace returns: estimates with their standard errors. Frozen, plain numbers, SI units and fractions."""

from dataclasses import dataclass

LEDGER_ENTRIES = (
    "reflected_lens",
    "absorbed_lens",
    "upward_lens",
    "edge_lens",
    "trapped_lens",
    "missed",
    "envelope",
    "reflected_absorber",
    "absorbed",
)
"""Where the aperture power goes, in the order in which light meets these fates."""


@dataclass(frozen=True, kw_only=True, slots=True)
class Estimate:
    """A Monte-Carlo mean and the standard error of that mean, in the same unit."""

    value: float
    standard_error: float


@dataclass(frozen=True, kw_only=True, slots=True)
class Ledger:
    """Where the aperture power goes: fractions that add to 1, each summed by itself."""

    reflected_lens: float
    absorbed_lens: float
    upward_lens: float
    edge_lens: float
    trapped_lens: float
    missed: float
    envelope: float
    reflected_absorber: float
    absorbed: float

    def total(self) -> float:
        """Sum of all entries: 1 for a sun before the lens."""
        return float(sum(getattr(self, name) for name in LEDGER_ENTRIES))


@dataclass(frozen=True, kw_only=True, slots=True)
class TubeResult:
    """One tube of the row: fractions of the aperture power, and the peak flux on its absorber over DNI."""

    intercepted_fraction: Estimate
    absorbed_fraction: Estimate
    peak_flux_ratio: float


@dataclass(frozen=True, kw_only=True, slots=True)
class FocalLine:
    """The light on the plane z = -lens_height with the tubes taken away. Lengths [m]; None where no light arrives."""

    centroid: float | None
    w50: float | None
    w90: float | None
    w95: float | None
    fwhm: float | None
    standard_error_w90: float | None
    share_within_absorber_diameter: float | None


@dataclass(frozen=True, kw_only=True, slots=True)
class TraceResult:
    """All that one trace yields; fractions are of the aperture power DNI x width x length x cos(incidence angle)."""

    rays: int
    seed: int
    transversal_angle: float
    longitudinal_angle: float
    intercepted_fraction: Estimate
    absorbed_fraction: Estimate
    intercept_factor: Estimate
    ledger: Ledger
    tubes: tuple[TubeResult, ...]
    focal_line: FocalLine
    target_reached: bool | None = None
