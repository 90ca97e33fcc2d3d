"""Shop papers: what a helper takes to the machine and to the bench, as PDF and as SVG pages.

``typeface`` knows how wide words are; ``pdf`` writes pages of marks
(:mod:`boxjoint.geometry.page`). ``font/`` holds the letters and their licence.
"""
