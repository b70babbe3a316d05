"""Energy: steam, the boiler's heat balance, a year, measured against predicted."""
