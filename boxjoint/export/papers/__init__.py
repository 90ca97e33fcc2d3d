"""Shop papers: what a helper takes to the machine and to the bench, as PDF and as SVG pages.

Files, each importing only from those before it: ``typeface`` (how wide words are), ``pdf`` (pages of
marks, :mod:`boxjoint.geometry.page`, as PDF), ``records_cut``, ``records_bench``, ``records`` (what an
order's papers are told), ``wording`` (figures in words), ``flow`` (blocks and tables from page to page),
``cut_list``, ``sheet_page``, ``machine_page``, ``bench_page``, ``desk_page``, ``cautions`` (a kind of
block each), ``shop`` (all pages of an order, and their files). ``font/`` holds the letters and their
licence.
"""
