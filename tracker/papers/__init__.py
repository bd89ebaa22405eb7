"""Printed papers: values in, PDF and SVG out. No model, no query, no clock: what is printed is handed over."""
