"""Drawings: values in, SVG text out. Every drawing has a title, a description and a name beside each colour."""
