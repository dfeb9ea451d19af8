"""How much of the song is heard, and what each bar lacks.

hearing   How much of each note is heard, and of each line of the music on each beat
losses    What each bar lost, by line and beat, and which bars to mend first
problems  The bars to mend first, and what each lacks, in a musician's words
"""
