"""Writers of files: they take what others made and write it down, and decide nothing.

``dxf`` and ``svg`` turn a :class:`~boxjoint.geometry.drawing.Drawing` into text, the same bytes for
the same drawing every time. ``layout`` is what both add to it (stroke letters, check square, lines
of text), ``palette`` the look of the layers, and ``files`` puts a set of
files into a folder whole or not at all. ``isometric`` draws panels in their places as ``pictures`` (plain
shapes), ``stages`` tells the assembly sequence in words, and ``steps`` draws it.
"""
