"""The cautions that go with every plan, in one place, as the reader meets them."""

CAUTIONS = (
    (
        "Concentrated light burns skin and eyes and starts fires within seconds. Keep people, animals and all that "
        "burns out of the light below the lens, and have water at hand."
    ),
    "Dark glasses are no protection against the focal spot, nor against its reflections. Do not look at it.",
    (
        "Cover the lens whenever nobody attends it, and before any work on lens, mount, tubes or pipes. The sun moves "
        "on, and the focal line with it."
    ),
    "Steam and hot glass scald and burn. Never close the way out of the steam.",
    (
        "Tubes that run dry shatter. Never fill a hot dry tube with cold water: cover the lens and wait until it is "
        "cold."
    ),
    (
        "These figures come from a model, not from your lens. Local codes and licensed practice decide what may be "
        "built and run."
    ),
)
"""Common practice in work with concentrated sunlight and steam, no source."""

OPEN_END_UP = (
    "A tube that is closed at one end, as evacuated tubes often are, must have its open end up: otherwise the water "
    "runs out, or the steam cannot leave."
)
"""Common practice with evacuated tubes, no source."""

LEVEL_MARGIN_DEG = 3.0
"""Slope of the tubes against level within which a builder is warned [deg]. Common practice, no source."""

WIND = (
    "The forces are for judging a footprint and a brake, not for proving that the unit stands. Local codes and "
    "licensed practice decide on wind loads, foundations and ballast: they know the gusts of the place. A sheet that "
    "breaks loose in the sun takes its focus along, and its pieces are sharp. Cover the lens and stow it flat, tied "
    "down, before a storm."
)
"""Common practice, no source."""

MEASURING_WIDTHS = (
    (
        "Cover the sheet with something that does not burn, but for one strip from edge to edge, right across the "
        "grooves, a twentieth of the height wide (45 mm at 900 mm). The strip makes the line short and leaves its "
        "width as it is; a window narrower than the sheet would change the width. The short line is as hot as the "
        "whole one: it ignites wood and burns skin at once."
    ),
    (
        "Use a matt, light target that does not burn, such as fibre cement or unglazed brick, parallel to the sheet, "
        "with a scale marked on it. No glossy, painted or wooden target. Nothing that burns behind it."
    ),
    (
        "Do not look at the line, not even through dark glasses or a viewfinder. Take pictures from the side with an "
        "exposure that is not saturated, cover the sheet, and read the widths off the pictures."
    ),
    (
        "Have water at hand and a second person at the cover. Uncover for some seconds at a time; cover before anyone "
        "reaches below the sheet or touches the target, which stays hot."
    ),
    (
        "Aim the normal of the sheet at the sun, as with a shadow gauge, under a clear sky. Count heights from the "
        "lower face of the sheet. An error that all heights share shifts the focal length by as much."
    ),
    (
        "Measure at three or more heights on both sides of the narrowest line: heights far from it tell the focal "
        "length, heights near it the slope error. With the sheet turned over as well (column grooves_toward), the side "
        "that it was cut for is told far better."
    ),
)
"""Common practice, no source; the strip's width follows from the sun's disc of 9.3 mrad, which it must exceed well."""
