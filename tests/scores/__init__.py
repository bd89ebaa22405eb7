"""The figures the forecasts are held to, measured on simulated fleets: `python -m tests.scores <word>`."""
