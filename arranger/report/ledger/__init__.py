"""The ledger: what became of every note, written and asked.

as_csv   ``NAME.ledger.csv``: the ledger as a table for spreadsheets (RFC 4180, UTF-8
as_json  ``NAME.ledger.json``: every note, each exactly once, for other programs to read
query    Asking a written ledger: which notes of which bars met which fate, and why
shape    What a written ledger must be like to be asked
"""
