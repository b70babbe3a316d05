"""The command `focalrow`: reads arguments, calls, prints. No physics."""
