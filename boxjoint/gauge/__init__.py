"""Gauge: pieces cut only to be measured, and from what is read off them to kerf, scale and fit.

Files form two lines that meet in the readings. Estimates: distributions, readings, assumed, model,
least_squares, outliers, checks, advice, estimate; comb stands beside them. Pieces: stock,
curves, rows, pieces, kerf_gauge, strips, comb_pieces, coupon, offcut; then their forms: form (files), paper, form_page.
Everything is in mm and in float; only ``form.read_form`` reads a file, and nothing here writes one.
"""
