"""Materials, sunshapes and the spectrum, each with its source."""
