"""Plots as SVG, by matplotlib: figures in, bytes out. What a plot shows stands in a table beside it as well."""
