"""What a run will do, and why, before it does it.

plan     What a run will do, and why, before anything is converted, or without one
reasons  Why songs were converted or left, told together
"""
