"""The shop book: what was measured in this shop, and what follows from it.

``records`` are the things that can be written down; ``schema`` is their SQL, by version; ``book``
is the file; ``exchange`` writes it to plain files and reads it back; ``filter`` is the mathematics
of learning; ``learn`` runs the book through the filter and says what is believed.

The book holds raw readings only, and is append only. A belief is computed from the readings, in the
sequence in which they were taken, every time it is asked for: a better estimator improves old data.
The clock is never read in here: every record carries its date, and the caller says what "now" is.
"""
