"""The two networks that hear beats and bars: what they are shown, and what they say.

bars_heard   Where bar lines are heard, once the beats are known
beat_frames  What the network that hears beats is shown
beats_heard  What the network hears of a song, and the bar lines that suit it
ear          The network that hears beats and bars, run by numpy
frames       What the network that hears bars is shown
layers       What networks of convolutions are made of, run by numpy
likeness     Where the harmony changes and what comes back
network      A small network of convolutions over time, run by numpy
"""
