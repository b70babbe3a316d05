"""Where the focus goes when nobody moves the lens, and what it may do there."""
