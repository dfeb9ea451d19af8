"""What a songbook shows: the worklist in page, terminal and files.

overview   The songbook's own files: all songs on one table, as CSV, as JSON and as a page
book_page  The page of a songbook: its worklist, which song needs a hand first
worklist   Which song needs a hand first, the columns that are told of each, the table of a terminal
"""
