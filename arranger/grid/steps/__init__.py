"""Which step, and what of the song falls on which.

choose      Choosing the step: what each candidate would cost the music
off_step    Bars whose notes keep to another division of the beat than the step
place       Placing notes on steps, once the step is chosen
step_words  What a step costs, in words
swing       Swing: off-beats that come late, all by about as much
"""
