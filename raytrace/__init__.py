"""Optics of a flat linear Fresnel lens above a row of tubes: no dates, no places, no files."""
