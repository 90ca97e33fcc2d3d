"""From panels to sheets: which panel lies where, and what is left of the sheet.

A panel is nested by the rectangle round its compensated cut path, grown by the spacing. Measured on
sample orders, tabs nested into each other save nothing at the spacings that a laser needs; windows
do, and are offered as free space when asked.

Glossary
--------
item
    A panel to be cut, with its quantity; **copy** one of them.
spacing
    The least distance between two cut paths, and between a cut path and a keep-out; at least the kerf.
margin
    The least distance between a cut path and the edge of the sheet.
keep-out
    A rectangle of the sheet where nothing may be cut: a clamp, a magnet, a flaw.
window
    A rectangle inside a panel that drops out. A copy that lies in one is cut before it.
quarters
    Quarter turns counter-clockwise from how the panel is drawn.
strip
    Items that lie end to end and are placed as one.
offcut
    A rectangle that is left, of a size worth keeping; a sheet that is one is used first.
cut
    One path of the head with the beam on: a mark, an inner cut or an outline.
entry
    The vertex where the beam starts a cut. **travel** is the way of the head with the beam off.
bridge
    A bit left uncut, so that a part cannot fall. **support pitch** is the distance between the slats or
    bars that carry the sheet.
equivalent
    Sheets used, the last one counted by what is used up of it when the rest is cut off straight
    across. **bound** sheets that the area alone needs: nothing can do better.
heat spread
    That lines near each other do not follow at once; a wish with a stated weight in mm of travel.

Files, each importing only from those before it: ``records``, ``rectangles`` (free space as maximal
empty rectangles), ``constructions`` (fill sheets in a given sequence), ``beam`` (a skyline beam
search), ``improve`` (ruin and recreate), ``pack`` (all of these under one budget), ``suits`` (what fits
on which sheets), ``choose`` (which sheets are used), ``remains`` (offcuts), ``strips`` (offers),
``checker`` (proves every nest on the real outlines), ``nest``; then ``cuts`` (what is cut on one sheet),
``bridges`` (bits left uncut),
``entries`` (where each cut starts, exactly), ``heat`` (lines that should not follow at once), ``route``
(moves that shorten the way), ``sequence_check`` (proves that nothing is cut after it has come loose),
``sequence``, ``lead_in`` (starts in the waste); and ``timing`` (how long it takes), ``price``.

The same order gives the same nest on every machine, whatever the sequence of its items: budgets
are counted in iterations, never in seconds, and only integers and the four operations on floats decide.
"""
