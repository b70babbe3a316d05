"""Time and place: sun, sky, mount, plans, and the command line on top of `raytrace`."""
