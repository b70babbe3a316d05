"""The response table: what each tube takes up, and how wide the focal line is, for any direction of the sun."""

from raytrace.response.build import build_response
from raytrace.response.keep import load, load_or_build
from raytrace.response.table import Domain, Response, ResponseTable, RowAt, TableError, TubePlaces

__all__ = [
    "Domain",
    "Response",
    "ResponseTable",
    "RowAt",
    "TableError",
    "TubePlaces",
    "build_response",
    "load",
    "load_or_build",
]
