"""Beat tracking for songs that don't follow their own beat.

bar         Finding where bars begin, once the beats are known
beat        Finding the beat of a song from its onsets
evidence    What speaks for a beat at an attack: one column a kind of evidence
follow      Following a beat through the attacks of a song, by dynamic programming
hypotheses  Readings of one followed pulse: which of its levels is the beat
smooth      Smoothing a beat: the beat times
tempo       Which periods a song's attacks repeat at
"""
