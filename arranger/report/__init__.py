"""What became of every note: terminal, CSV, JSON and HTML page."""

from arranger.report.account import Account, account, told
from arranger.report.book_page import book_page
from arranger.report.ledger_csv import ledger_csv, ledger_csv_pieces
from arranger.report.ledger_json import ledger_json, ledger_json_pieces, schema
from arranger.report.losses import bar_losses, worst_bars
from arranger.report.song_page import html_page, html_page_pieces
from arranger.report.suggest import Suggestion, suggestions
from arranger.report.summary import Summary, summary
from arranger.report.terminal import terminal_text

__all__ = [
    "Account",
    "Suggestion",
    "Summary",
    "account",
    "bar_losses",
    "book_page",
    "html_page",
    "html_page_pieces",
    "ledger_csv",
    "ledger_csv_pieces",
    "ledger_json",
    "ledger_json_pieces",
    "schema",
    "suggestions",
    "summary",
    "terminal_text",
    "told",
    "worst_bars",
]
