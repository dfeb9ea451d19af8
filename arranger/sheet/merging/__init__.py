"""Edits by hand and what is generated now become one sheet.

======================  =====================================================================
merge                   three ways, with the table of what the merged sheet has
merged_bars, row_merge  bars, metres and marks · one row, step by step
merge_header            title, tempo, drum sounds, loop mark
refit, fitting          edits in other steps · in another key, on another engine
not_taken, pieces       versions below a bar, as comments · bars cut out, or in another order
spread                  an edit made once, in all bars that were generated alike
======================  =====================================================================
"""
