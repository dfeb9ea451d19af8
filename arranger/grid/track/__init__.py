"""Beat tracking for songs that don't follow their own beat.

networks         The two networks that hear beats and bars
bars_sure        How sure bar lines are
beat             Finding the beat of a song from its onsets
evidence         What speaks for a beat at an attack: one column a kind of evidence
feature_weights  The weights of small sums of features
follow           The best beat through a song, by dynamic programming
phase            Where in a beat of known times the music's beat falls
readings         Readings of what was heard: other tempos, between the beats
rivals           How sure a reading of the beat is, and which others would be next
smooth           Smoothing a beat: the beat times
sureness         How sure each beat is
"""
