"""What is said in few words: survey, summary, suggestions, the sheet's side.

brief          A conversion in one screen: what a musician wants to know first
command        The command line that does a conversion again, or does it otherwise
sheet_side     The sheet's side of a report: what a sheet is and takes
suggest        Settings to try instead, each with the effect that it has: because it was tried
summary        What the terminal says after a conversion: the same as the page, in short
survey         What is in a song, before anything is decided: parts, drums, time
terminal_text  The summary for a terminal, in its width
"""
