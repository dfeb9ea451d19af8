"""Beat tracking for songs that don't follow their own beat.

bars_heard  Where bar lines are heard, once the beats are known
beat        Finding the beat of a song from its onsets
beats_heard Where beats are heard, and the beat that suits it best
evidence    What speaks for a beat at an attack: one column a kind of evidence
frames      What the networks are shown: attacks and sounding notes on evenly spaced frames
follow      Following a beat through the attacks of a song, by dynamic programming
hypotheses  Readings of one followed pulse: which of its levels is the beat
likeness    Where the harmony changes and what comes back
network     A small network of convolutions over time, run by numpy
rivals      How sure a reading of the beat is, and which others would be next
smooth      Smoothing a beat: the beat times
tempo       Which periods a song's attacks repeat at
"""
