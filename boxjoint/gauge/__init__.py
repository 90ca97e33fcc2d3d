"""Gauge: from readings and verdicts to kerf, scale and fit, each with its uncertainty.

Files form a line: distributions, readings, assumed, model, least_squares, outliers, checks, advice,
estimate; comb stands beside them. Everything is in mm and in float; nothing here draws or reads files.
"""
