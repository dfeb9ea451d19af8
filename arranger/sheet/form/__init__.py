"""The text of a sheet: how it is written, read, and what is said of what can't be read.

==============================  =================================================================
text                            writing
parse, lines, header, blocks    reading, with the grammar: line by line, above the bars, the bars
bar_line, cells, header_values  what a bar's line, a row's words, the header's words stand for
lexical                         words and comments: where they stand
in_place                        a changed sheet written into the text that it was read from
problem, meant                  what is wrong and where, and what was probably meant
as_bars, fold_repeats           bars that are as others: their law; repeats written so, and back
==============================  =================================================================

``duet.grammar.json`` colours such texts in editors.
"""
