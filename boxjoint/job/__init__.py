"""What is asked: frozen records, and the job file they are read from.

Nothing here is computed from anything else: a job says what the customer and the maker want, in
their own numbers, and which of those numbers were measured. Lengths are whole nanometres.
"""
