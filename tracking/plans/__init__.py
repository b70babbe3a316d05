"""What to do with the lens, and when: a day at each instant."""
