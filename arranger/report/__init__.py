"""What became of every note: terminal, CSV, JSON and HTML page.

account       The account of a conversion as columns
brief         A conversion in one screen: what a musician wants to know first
build         Building pages: assets of the package, put into one HTML document
columns       The account's columns as JSON text, each value written once
compare_page  The page of two conversions of one song
command       The command line that does a conversion again, or does it otherwise
facts         What stands still on the page of a song: the tables and sentences of its "why"
ledger_csv    ``NAME.ledger.csv``: the ledger as a table for spreadsheets (RFC 4180, UTF-8
ledger_json   ``NAME.ledger.json``: every note, each exactly once, for other programs to read
ledger_shape  What a written ledger must be like to be asked
hearing       How much of each note is heard, and of each line of the music on each beat
losses        What each bar lost, by line and beat, and which bars to mend first
page_data     What the page's scripts need, as columns of plain numbers and texts
problems      The bars to mend first, and what each lacks, in a musician's words
query         Asking a written ledger: which notes of which bars met which fate, and why
remember      Values that several outputs of one conversion share are worked out once
sheet_lines   The sheet's own lines beside the roll: the text, and where each bar stands in it
sheet_side    The sheet's side of a report: what a sheet is and takes
song_page     The page of one song: self-contained HTML
suggest       Settings to try instead, each with the effect that it has: because it was tried
summary       What the terminal says after a conversion: the same as the page, in short
survey        What is in a song, before anything is decided: parts, drums, time
terminal      The summary for a terminal, in its width
"""

from arranger.report.account import Account, account, told
from arranger.report.command import Run
from arranger.report.ledger_csv import ledger_csv, ledger_csv_pieces
from arranger.report.ledger_json import ledger_json, ledger_json_pieces, schema
from arranger.report.losses import bar_losses, song_heard
from arranger.report.problems import ranking
from arranger.report.song_page import html_page, html_page_pieces
from arranger.report.suggest import Suggestion, suggestions
from arranger.report.summary import Summary, summary
from arranger.report.terminal import terminal_text

__all__ = [
    "Account",
    "Run",
    "Suggestion",
    "Summary",
    "account",
    "bar_losses",
    "html_page",
    "html_page_pieces",
    "ledger_csv",
    "ledger_csv_pieces",
    "ledger_json",
    "ledger_json_pieces",
    "ranking",
    "schema",
    "song_heard",
    "suggestions",
    "summary",
    "terminal_text",
    "told",
]
