"""Ride files, GPX and FIT, read into one ride: two moments and a distance. Knows no model; the way itself goes nowhere."""
