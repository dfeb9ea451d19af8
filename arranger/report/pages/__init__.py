"""The HTML pages: self-contained, no network needed.

build         Building pages: assets of the package, put into one HTML document
compare_page  The page of two conversions of one song
facts         What stands still on the page of a song: the tables and sentences of its "why"
page_data     What the page's scripts need, as columns of plain numbers and texts
sheet_lines   The sheet's own lines beside the roll: the text, and where each bar stands in it
song_page     The page of one song: self-contained HTML
"""
