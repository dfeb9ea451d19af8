"""Scores through music21: read in a process of their own, bars in the order in which they are played.

abc_text      ABC texts made ready for music21, which misreads some repeat marks
gathered      What has been found so far
notation      What a score that music21 parsed holds: notes, tempo, bars, keys and words
process       Scores are read in a process of their own, so
reading       Notation files through music21: MusicXML, ABC, Humdrum and MEI become songs
repeat_signs  The repeat signs of a score that music21 parsed, and the order of bars
repeats       In which order the bars of a score are played: repeats, endings
worker        The process that reads scores: one after the other from standard input, until
"""
