"""What became of every note, in entries and in words, and what was weighed in a bar.

account        What became of every note: from finished rows
asked          What the song asks for, as the account compares it with what is heard
laws           The laws that hold between rows and ledger, looked at after every conversion
sentences      Sentences: what became of a note and why, in words
texture_line   Which bars have which texture, and why, in words
thresholds     How much may differ before a note counts as changed, merged or dropped
told           What became of the notes, in C where that was compiled
weighing       What was weighed in a bar: the choice made, the nearest others
weighing_text  What was weighed in a bar, as text for a terminal and as JSON for scripts
"""
