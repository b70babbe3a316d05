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
