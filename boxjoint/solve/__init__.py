"""From slabs to panels: arrangement -> joints -> tabs -> panels -> pieces. Nominal only; knows no kerf.

A box is a set of axis-aligned slabs that run through each other and a rule that gives every bit of
shared space to exactly one of them. Lids, dividers, bases and drawers are further slabs, never
further joint code. ``seams`` divides a panel that is longer than the bed.
"""
