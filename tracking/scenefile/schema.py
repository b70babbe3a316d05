"""The whole file: its tables. A new table is a class of its own in a module of its own, and one line here."""

from typing import Annotated

from pydantic import Field

from tracking.scenefile.actuators import ActuatorsTable
from tracking.scenefile.boiler import BoilerTable
from tracking.scenefile.costs import CostsTable
from tracking.scenefile.forms import SchemaVersion
from tracking.scenefile.lens import LensTable
from tracking.scenefile.mount import MountTable
from tracking.scenefile.site import SiteTable
from tracking.scenefile.sky import SkyTable
from tracking.scenefile.surroundings import SurroundingTable
from tracking.scenefile.table import Table
from tracking.scenefile.tubes import TubesTable

VERSION = 1


class SceneTables(Table):
    """All tables of a scene file."""

    version: Annotated[int, SchemaVersion(VERSION)] = Field(alias="schema")  # pydantic keeps the name for itself
    site: SiteTable
    sky: SkyTable = Field(default_factory=SkyTable)
    lens: LensTable
    tubes: TubesTable
    mount: MountTable
    boiler: BoilerTable | None = None
    costs: CostsTable | None = None
    actuators: ActuatorsTable | None = None
    surroundings: tuple[SurroundingTable, ...] = ()

    def _default_text(self, key: str) -> str | None:
        texts = {
            "costs": "none: nothing is said about money",
            "actuators": "none: the lens is set by hand",
            "surroundings": "none listed: a board behind the tubes and the ground, both assumed",
        }
        return texts.get(key)
