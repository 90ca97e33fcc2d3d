"""Proofs: that the panels are what was asked, that the cut gives them, that they go together.

The exact proof takes nominal rings and slabs only, never owners or segments, and shares no code with
the solver. The solid proof shares no code with the exact one.

``sequence`` finds how the panels go together; ``replay`` moves solids along it.
"""
