"""From jobs and quantities to sheets: what a customer wants, laid on what the shop has, and proved.

Glossary
--------
order
    Jobs and quantities.
line
    One job of an order, and how many of its boxes.
group
    A job's name in its order: its title, numbered where two jobs share one.
copy
    One panel on one sheet, compensated for the way it lies there.

Files, each importing only from those before it: ``records``, ``read`` (order files and jobs),
``stocks`` (the sheets that there are), ``items`` (panels to nest), ``labels`` (what is scored), ``lay`` (nested, compensated
after placing, proved as cut), ``drawing`` (a sheet as it lies on the bed), ``bridges``, ``cuts``, ``plan``, ``report``, ``files``.
"""
