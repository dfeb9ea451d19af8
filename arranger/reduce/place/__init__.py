"""On the grid and in the table: places, the pedal, folding by octaves, the key.

fold       Folding: pitches outside the engine's table move by octaves
pedal      Lines that ring: parts
placed     The song's notes as they stand on the grid, and those that can't take part
transpose  `--transpose auto`: the key in which the engine plays the song best
"""
