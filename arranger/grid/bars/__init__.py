"""Where bars begin: as asked, as the file states, as the music has them.

asked_bars   Bars as the user says: their metre, and where the first bar line is
disputed     Whether the music has other bars than those that its file states, and which
doubts       What isn't sure of beat and bars, and the other readings
metre_names  What bars that were heard are called, and where they begin as options say it
metres       Bars by ear for a song that has beats but no bars
"""
