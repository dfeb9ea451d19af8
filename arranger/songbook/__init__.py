"""The songbook: many songs converted together, resumable, with nothing lost.

advice         ``songbook.toml`` with what the program would advise for each song
apart          A song converted in a process of its own, which may hang, be killed or die
book           A whole songbook: find, skip what is done, convert the rest, sum up
book_settings  ``songbook.toml``: settings for all songs of a folder, and for some of them
choice         What is asked of a songbook: which songs, how, and with what settings each
cluster        The same jobs on the workers of a Dask cluster
converted      The record of a converted song: its figures, by the measure of its report
doubts         What a conversion may have taken wrongly: a word and a sentence each
find           Finds the songs that are asked for and gives each the place where its files will go
index          The index in OUT: what was made from which bytes with which settings, so
line           The songs that wait, served from both ends
overview       The songbook's own files: all songs on one table, as CSV, as JSON and as a page
packed         Songs in a ZIP: found by its directory, read where they lie, never unpacked
page           The page of a songbook: its worklist, which song needs a hand first
plan           What a run will do, and why, before anything is converted, or without one
pool           Many jobs on workers, so that a song that kills its worker costs only itself
program        What the program itself puts into the outputs, as digests
progress       What a run tells while it goes on: how far it has come, and an overview to use
record         What the songbook remembers of one song, and what became of it since the run before
standing       The record of a song whose sheet was edited by hand and left alone
summing_up     What the terminal says after a songbook: counters and wording
why            Why songs are converted or left alone, each and together
work           One song from file to files, in a worker process and its limits: whatever happens
worker         The process that converts songs, one after the other
worklist       Which song needs a hand first, the columns that are told of each, the table of a terminal
"""

from arranger.songbook.book import BookResult, convert_book
from arranger.songbook.choice import BookChoice
from arranger.songbook.plan import plan_book
from arranger.songbook.pool import core_count
from arranger.songbook.record import REASON_CODES, Record

__all__ = [
    "REASON_CODES",
    "BookChoice",
    "BookResult",
    "Record",
    "convert_book",
    "core_count",
    "plan_book",
]
