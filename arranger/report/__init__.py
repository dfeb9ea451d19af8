"""What became of every note: terminal, CSV, JSON and HTML page.

account_columns  The account of a conversion as columns
column_json      The account's columns as JSON text, each value written once
heard            How much of the song is heard, and what each bar lacks
ledger           The ledger: what became of every note, written and asked
pages            The HTML pages: self-contained, no network needed
remember         Values that several outputs of one conversion share are worked out once
summaries        What is said in few words: survey, summary, suggestions, the sheet's side
"""

from arranger.report.account_columns import Account, account_of, sentences_of
from arranger.report.heard.losses import bar_losses, song_heard
from arranger.report.heard.problems import ranking
from arranger.report.ledger.as_csv import ledger_csv, ledger_csv_pieces
from arranger.report.ledger.as_json import ledger_json, ledger_json_pieces, ledger_schema
from arranger.report.pages.song_page import html_page, html_page_pieces
from arranger.report.summaries.command import CommandRun
from arranger.report.summaries.suggest import Suggestion, suggestions
from arranger.report.summaries.summary import Summary, summary
from arranger.report.summaries.terminal_text import terminal_text

__all__ = [
    "Account", "CommandRun", "Suggestion", "Summary", "account_of", "bar_losses", "html_page",
    "html_page_pieces", "ledger_csv", "ledger_csv_pieces", "ledger_json", "ledger_json_pieces",
    "ledger_schema", "ranking", "sentences_of", "song_heard", "suggestions", "summary",
    "terminal_text",
]  # fmt: skip
