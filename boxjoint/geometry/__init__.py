"""Plane and solid geometry in whole nanometres: cuboids, rectilinear rings with roles, drawings, pages.

This room knows nothing of boxes. Nominal coordinates are ``int64`` nanometres, so that equality is
exact; outlines turn counter-clockwise and holes clockwise, so that the outward normal of every side
lies to the right of its direction of travel, also in holes (where it points into the hole).

``strokes`` are single-line letters, ``outlines`` shapes to mark, which ``typeface`` makes of text and
``svg_import`` of drawings (both through ``pen``); these are float millimetres.
"""
