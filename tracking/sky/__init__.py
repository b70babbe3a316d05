"""Where and when: site, sun position, direct normal irradiance."""
