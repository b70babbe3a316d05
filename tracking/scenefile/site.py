"""The table [site]."""

from typing import Annotated

from tracking.scenefile.forms import Quantity, Text, TimeZone
from tracking.scenefile.table import Table, default
from tracking.scenefile.units import ANGLE, LENGTH
from tracking.sky.site import Site


class SiteTable(Table):
    """Where the lens stands."""

    name: Annotated[str | None, Text("the name of the place")] = None
    latitude: Annotated[float, Quantity(ANGLE, "-90 deg", "90 deg")]
    longitude: Annotated[float, Quantity(ANGLE, "-180 deg", "180 deg")]
    altitude: Annotated[float, Quantity(LENGTH, "-450 m", "6000 m")] = default("0 m")
    timezone: Annotated[str, TimeZone()]

    def _default_text(self, key: str) -> str | None:
        return "none" if key == "name" else None

    def site(self) -> Site:
        """The site of these keys."""
        return Site(
            name=self.name or "",
            latitude=self.latitude,
            longitude=self.longitude,
            altitude=self.altitude,
            timezone=self.timezone,
        )
