"""What is known of songs: their records, why they were converted, the index, digests of the program.

converted    The record of a converted song: its figures, by the measure of its report
doubts       What a conversion may have taken wrongly: a word and a sentence each
index        The index in OUT: what was made from which bytes with which settings, so
program      What the program itself puts into the outputs, as digests
song_record  What the songbook remembers of one song, and what became of it since the run before
standing     The record of a song whose sheet was edited by hand and left alone
why          Why a song is converted or left alone
"""
