"""What there is to choose from, what each choice costs, and the cheapest way through.

breaths      Where the tune takes breath, and who answers it
candidates   What the optimisation chooses from: tones on the grid, cut into segments
costs        The cost table: what each musical loss weighs, in one place
drum_sounds  Which sound stands in for which percussion key
groove       Which drum sounds on which step, decided once for all bars whose drums are alike
material     Which bars are made of chords, and which of lines
optimum      The exact optimum over all ways of giving two voices and the drums to a song
prepare      From a song on its grid to the problem of the optimisation
price        The costs of all choices of all segments, and of one path term by term
rates        What everything costs in whole numbers: the one place where costs are rounded
terms        The terms of the cost table, each defined once, for many segments at a time
textures     Textures: what the two voices are for
turns        Broken chords: whose turn it is at each moment
"""
