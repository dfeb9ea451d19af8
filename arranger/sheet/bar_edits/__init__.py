"""Edits of bars: a sheet in, a sheet out, and a line that tells what was done.

===========  ===================================================================================
which_bars   which bars and rows are meant: "5-8", "A.2", "voice1"
taken_apart  bars taken apart and put together: tones held over their lines, bars that are alike
structure    bars come, go and move: copy, insert, delete, move
content      bars stay and play something else: transpose, swap, clear, fill
request      the edits by the words of ``arranger bars``: what takes what
with_record  what was generated, when bars move
edit_told    what was done, with numbers before and after
===========  ===================================================================================
"""
