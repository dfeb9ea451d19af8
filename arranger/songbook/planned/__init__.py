"""What a run will do, and why, before it does it.

song_plan  What a run will do, and why, before anything is converted, or without one
why_told   Why songs were converted or left, told together
"""
