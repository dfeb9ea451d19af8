"""What each note is worth: roles, names, the model of the tune, passages, doubling.

copies       Parts that copy another one: beside it (doubling, chorus) or after it (echo)
duplicates   Notes that double another: the same pitch, or the same pitch class
name_words   What a part's name says about its role; the words stand in ``name_words.toml``
parts_named  Which parts a user means: by number, by name, or by a pattern that may fit several
passages     Which part carries the tune when: roles revised by passage
roles        The role of each part, from evidence that is stated with its weight
note_table   The song's notes as columns, and which note is heard on top at each moment
tune_model   How likely each note belongs to the tune, where parts and names don't tell: a small network
weigh        What each note is worth to a listener: tune, bass, salience, doubles
weights      What each note is worth to a listener: the evidence that the optimisation weighs
"""
