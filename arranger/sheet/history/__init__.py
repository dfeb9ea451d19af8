"""Every version of a sheet, in one file beside it; undo and redo.

file         the file: what commands wrote and found there
versions     the versions as a value, and as bytes
back         another version takes the sheet's place
lost_record  the record that a sheet has lost
differing    which bars differ between two of them
"""
