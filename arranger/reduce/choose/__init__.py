"""What there is to choose from, what each choice costs, and the cheapest way through.

breakdown   What one path costs, term by term: the same as `arranger.reduce.choose.price`
candidates  What the optimisation chooses from: tones on the grid, cut into segments
costs       The cost table: what each musical loss weighs, in one place
drums       Drums as candidates: which sound could stand on which step
optimum     The exact optimum over all ways of giving two voices and the drums to a song
prepare     From a song on its grid to the problem of the optimisation
price       The costs of all choices of all segments, in a few batched operations
textures    Textures: what the two voices are for
"""
