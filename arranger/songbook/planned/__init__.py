"""What a run will do, and why, before it does it.

foresight  What a run would do, told without one
plan       What a run will do, and why, before anything is converted
reasons    Why songs were converted or left, told together
"""
