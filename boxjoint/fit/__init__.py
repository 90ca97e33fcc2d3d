"""Kerf, fits, compensation, virtual cut and tolerance: from nominal outlines to what is cut.

kerf is always the FULL width that the beam removes, at the narrower face. clearance is slot minus tab
as cut, as ISO 286 has it: positive is loose, negative is interference.
"""
