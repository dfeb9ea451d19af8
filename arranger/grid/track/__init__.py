"""Beat tracking for songs that don't follow their own beat.

bars_heard       Where bar lines are heard, once the beats are known
bars_sure        How sure bar lines are
beat             Finding the beat of a song from its onsets
beat_frames      What the network that hears beats is shown
beats_heard      What the network hears of a song, and the bar lines that suit it
ear              The network that hears beats and bars, run by numpy
evidence         What speaks for a beat at an attack: one column a kind of evidence
follow           The best beat through a song, by dynamic programming
frames           What the network that hears bars is shown
layers           What networks of convolutions are made of, run by numpy
likeness         Where the harmony changes and what comes back
network          A small network of convolutions over time, run by numpy
phase            Where in a beat of known times the music's beat falls
readings         Readings of what was heard: other tempos, between the beats
rivals           How sure a reading of the beat is, and which others would be next
smooth           Smoothing a beat: the beat times
sureness         How sure each beat is
feature_weights  The weights of small sums of features
"""
