"""From the choice to what sounds: rows, gaps before repetitions, the limit of bytes.

as_written   The texture "as-written": two parts named "voice 1" and "voice 2" are the voices
byte_limit   Simplifying a song until it fits into so many bytes
heard        What finished rows let be heard: the one place that outcomes
performance  From the optimum to rows: gaps before repeated pitches, and tones under drums
"""
