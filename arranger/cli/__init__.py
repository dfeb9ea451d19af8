"""The command line: one module a command, no musical logic.

app               The ``arranger`` command
check             every problem of a sheet at once, with its place and what to do
compare           the bars in which two sheets differ, side by side
convert           one song becomes a sheet, its sound, its ledger and a report
engines           what engines there are, what one can play, and a file to start one from
explain           what was weighed in a bar, and what the nearest other choices cost
export            a sheet in a form that other programs take
helping           How ``--help`` looks
keeping           Commands, and options that commands share which write or change a sheet
new               a sheet to begin with, without a song
progress_bar      A progress bar for work that takes longer than a second; on a terminal only
redo              what undo took back, again
render            a sheet becomes an audio file
report            ask a ledger what became of which notes, or a sheet what it is and takes
review            a sheet, or a folder of them, on a live page where it can be edited
settings_options  Gives a command all options of `arranger.options.OPTIONS` and hands it one
songbook          many songs, converted together
spread            an edit made once reaches all bars that were alike
survey            what is in a song, and how hard it will be
terminal          The one place where text goes to the terminal, so
tidy              a roughly typed sheet gets its columns
undo              a sheet as it was before, whoever changed it
"""
