"""The shop book: what was measured in this shop, and what follows from it.

``records`` are the things that can be written down; ``schema`` is their SQL, by version; ``book``
is the file; ``exchange`` writes it to plain files and reads it back; ``filter`` is the mathematics
of learning; ``observe`` turns the readings of a gauge into what the filter takes; ``timeline`` puts the
events of a machine in sequence; ``run`` takes them through the filter; ``learn`` says what is believed, as
the records of ``belief``. ``measured`` and ``bench`` are what a job, and a hand with a caliper, ask of it.

The book holds raw readings only, and is append only. A belief is computed from the readings, in the
sequence in which they were taken, every time it is asked for: a better estimator improves old data.
The clock is never read in here: every record carries its date, and the caller says what "now" is.
"""
