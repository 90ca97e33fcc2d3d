"""Plane and solid geometry in whole nanometres: cuboids, rectilinear rings with roles, drawings, pages.

This room knows nothing of boxes. Nominal coordinates are ``int64`` nanometres, so that equality is
exact; outlines turn counter-clockwise and holes clockwise, so that the outward normal of every side
lies to the right of its direction of travel, also in holes (where it points into the hole).
"""
